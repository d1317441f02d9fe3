package custody

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// newArchive opens a fresh archive on the given disk.
func newArchive(t *testing.T, d disk) *Archive {
	t.Helper()
	a, err := openArchive(filepath.Join(t.TempDir(), "archive"), d)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// writeFile makes a file with the content and gives it as a source.
func writeFile(t *testing.T, content string) Source {
	t.Helper()
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "run.csv"), []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
	return Source{Root: dir, Path: "run.csv"}
}

// filesBelow lists the files of the archive that are not its id.
func filesBelow(t *testing.T, dir string) []string {
	t.Helper()
	var files []string
	err := filepath.WalkDir(dir, func(path string, entry fs.DirEntry, err error) error {
		if err == nil && !entry.IsDir() && entry.Name() != "archive-id" {
			rel, _ := filepath.Rel(dir, path)
			files = append(files, filepath.ToSlash(rel))
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return files
}

func TestArchiveKeepsItsIDAndSweepsLeftovers(t *testing.T) {
	t.Parallel()
	a := newArchive(t, disk{})
	for _, name := range []string{"tmp/half.new-file", "tmp/other", "half.new-file"} {
		if err := os.WriteFile(filepath.Join(a.dir, name), []byte("half"), 0o400); err != nil {
			t.Fatal(err)
		}
	}
	again, err := OpenArchive(a.dir)
	if err != nil {
		t.Fatal(err)
	}
	if again.ID() != a.ID() || !isUUID(a.ID()) {
		t.Errorf("id %q after reopening, %q before", again.ID(), a.ID())
	}
	if left := filesBelow(t, a.dir); len(left) > 0 {
		t.Errorf("leftovers %q", left)
	}
	if other := newArchive(t, disk{}); other.ID() == a.ID() {
		t.Error("two archives have one id")
	}
}

func TestArchiveWithoutItsIDIsRefused(t *testing.T) {
	t.Parallel()
	for name, damage := range map[string]func(path string) error{
		"lost":  os.Remove,
		"empty": func(path string) error { return os.WriteFile(path, nil, 0o600) },
		"other": func(path string) error { return os.WriteFile(path, []byte("the archive\n"), 0o600) },
	} {
		t.Run(name, func(t *testing.T) {
			a := newArchive(t, disk{})
			if err := damage(filepath.Join(a.dir, "archive-id")); err != nil {
				t.Fatal(err)
			}
			if _, err := OpenArchive(a.dir); err == nil || !strings.Contains(err.Error(), "backup") {
				t.Errorf("opened with error %v", err)
			}
		})
	}
}

func TestObjectLiesUnderItsHashReadOnly(t *testing.T) {
	t.Parallel()
	a := newArchive(t, disk{})
	source := writeFile(t, "abc")
	receipt, err := a.Put(t.Context(), source)
	if err != nil {
		t.Fatal(err)
	}
	// FIPS 180-2, appendix B.1: the SHA-256 of "abc".
	const want = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
	if receipt.Hash.String() != want || receipt.Size != 3 || receipt.Existed {
		t.Errorf("receipt %+v", receipt)
	}
	path := filepath.Join(a.dir, "objects", "ba", "78", want)
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	if info.Mode().Perm()&0o222 != 0 {
		t.Errorf("object is writable: %v", info.Mode())
	}
	if got := filesBelow(t, a.dir); len(got) != 1 {
		t.Errorf("files %q", got)
	}
	if has, err := a.Has(receipt.Hash); !has || err != nil {
		t.Errorf("has: %v, %v", has, err)
	}
	if content, err := a.ReadBytes(t.Context(), receipt.Hash, 3); string(content) != "abc" || err != nil {
		t.Errorf("read %q, %v", content, err)
	}
	if _, err := a.ReadBytes(t.Context(), receipt.Hash, 2); err == nil {
		t.Error("read more than the limit")
	}
	if content, err := os.ReadFile(filepath.Join(source.Root, source.Path)); string(content) != "abc" || err != nil {
		t.Errorf("source is now %q, %v", content, err)
	}
}

func TestAbsentObjectIsMissing(t *testing.T) {
	t.Parallel()
	a := newArchive(t, disk{})
	h := HashOf([]byte("never kept"))
	if has, err := a.Has(h); has || err != nil {
		t.Errorf("has: %v, %v", has, err)
	}
	_, openErr := a.Open(h)
	_, statErr := a.Stat(h)
	_, verifyErr := a.Verify(t.Context(), h)
	for name, err := range map[string]error{"open": openErr, "stat": statErr, "verify": verifyErr} {
		if !errors.Is(err, ErrMissing) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestVerifyFindsDamage(t *testing.T) {
	t.Parallel()
	a := newArchive(t, disk{})
	receipt, err := a.PutBytes(t.Context(), []byte("copper 412 ug/L"))
	if err != nil {
		t.Fatal(err)
	}
	if object, err := a.Verify(t.Context(), receipt.Hash); err != nil || object != receipt.Object {
		t.Errorf("verify: %+v, %v", object, err)
	}
	path := a.Path(receipt.Hash)
	if err := os.Chmod(path, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte("copper 112 ug/L"), 0o600); err != nil {
		t.Fatal(err)
	}
	_, err = a.Verify(t.Context(), receipt.Hash)
	damage, ok := errors.AsType[*CorruptObjectError](err)
	if !ok || damage.Want != receipt.Hash || damage.Got != HashOf([]byte("copper 112 ug/L")) {
		t.Errorf("verify of a changed object: %v", err)
	}
	if _, err := a.ReadBytes(t.Context(), receipt.Hash, 100); err == nil {
		t.Error("damaged bytes were handed out")
	}
	if err := os.WriteFile(path, []byte("cop"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := a.PutBytes(t.Context(), []byte("copper 412 ug/L")); err == nil {
		t.Error("a shortened object counted as kept")
	}
}

func TestEachVisitsEveryObject(t *testing.T) {
	t.Parallel()
	a := newArchive(t, disk{})
	want := map[Hash]int64{}
	for _, content := range []string{"", "a", "bb", "ccc"} {
		r, err := a.PutReader(t.Context(), strings.NewReader(content))
		if err != nil {
			t.Fatal(err)
		}
		want[r.Hash] = int64(len(content))
	}
	err := a.Each(t.Context(), func(o Object) error {
		if size, ok := want[o.Hash]; !ok || size != o.Size {
			t.Errorf("object %+v", o)
		}
		delete(want, o.Hash)
		return nil
	})
	if err != nil || len(want) > 0 {
		t.Errorf("error %v, not visited %v", err, want)
	}
	if err := os.WriteFile(filepath.Join(a.dir, "objects", "notes.txt"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := a.Each(t.Context(), func(Object) error { return nil }); err == nil {
		t.Error("a foreign file among the objects was passed over")
	}
	if err := a.Each(t.Context(), func(Object) error { return io.ErrUnexpectedEOF }); !errors.Is(err, io.ErrUnexpectedEOF) {
		t.Errorf("visit's error came back as %v", err)
	}
}

func TestLockIsExclusive(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "data")
	lock, err := LockDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := LockDir(dir); err == nil {
		t.Error("locked twice")
	} else if _, ok := errors.AsType[*LockedError](err); !ok {
		t.Errorf("second lock: %v", err)
	}
	if err := lock.Unlock(); err != nil {
		t.Fatal(err)
	}
	again, err := LockDir(dir)
	if err != nil {
		t.Fatalf("lock after unlock: %v", err)
	}
	if err := again.Unlock(); err != nil {
		t.Error(err)
	}
}

func TestParseHash(t *testing.T) {
	t.Parallel()
	sound := HashOf(nil).String()
	for name, text := range map[string]string{
		"empty": "", "short": sound[1:], "long": sound + "0", "upper case": strings.ToUpper(sound),
		"no digit": "g" + sound[1:], "path": "../" + sound[3:],
	} {
		if _, err := ParseHash(text); err == nil {
			t.Errorf("%s: %q was read as a hash", name, text)
		}
	}
	if h, err := ParseHash(sound); err != nil || h != HashOf(nil) {
		t.Errorf("%q gives %v, %v", sound, h, err)
	}
}

func TestPrintable(t *testing.T) {
	t.Parallel()
	for in, want := range map[string]string{
		"runs/Probe 7.csv":  "runs/Probe 7.csv",
		"a\nb\x1b[2J":       `a\nb\x1b[2J`,
		"\xff\xfe.csv":      `\xff\xfe.csv`,
		"é-e\u0301":         "é-e\u0301",
		"cut\u202evsc.exe":  `cut\u202evsc.exe`,
		`back\slash`:        `back\\slash`,
		`it's "it"`:         `it's "it"`,
		"\ufffd":            "\ufffd",
		"line\u2028":        `line\u2028`,
		"nul\x00":           `nul\x00`,
		"Birne–Äpfel 梨.csv": "Birne–Äpfel 梨.csv",
	} {
		if got := Printable([]byte(in)); got != want {
			t.Errorf("%q: got %q, want %q", in, got, want)
		}
	}
}
