package custody

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
)

// faults fails chosen operations and keeps what was asked.
type faults struct {
	mu   sync.Mutex
	log  []string
	fail func(op, path string) error
}

func (f *faults) disk() disk {
	return disk{fault: func(op, path string) error {
		f.mu.Lock()
		defer f.mu.Unlock()
		f.log = append(f.log, op+" "+filepath.Base(path))
		if f.fail != nil {
			return f.fail(op, path)
		}
		return nil
	}}
}

func (f *faults) count(op string) (n int) {
	for _, line := range f.log {
		if strings.HasPrefix(line, op+" ") {
			n++
		}
	}
	return n
}

func TestPutTwiceKeepsOneUntouchedObject(t *testing.T) {
	t.Parallel()
	a := newArchive(t, disk{})
	first, err := a.Put(t.Context(), writeFile(t, "vanillin;1.25"))
	if err != nil {
		t.Fatal(err)
	}
	before, err := os.Stat(a.Path(first.Hash))
	if err != nil {
		t.Fatal(err)
	}
	second, err := a.Put(t.Context(), writeFile(t, "vanillin;1.25"))
	if err != nil || !second.Existed || second.Object != first.Object {
		t.Fatalf("second receipt %+v, %v", second, err)
	}
	after, err := os.Stat(a.Path(first.Hash))
	if err != nil || !os.SameFile(before, after) {
		t.Errorf("the object was replaced (%v)", err)
	}
	if files := filesBelow(t, a.dir); len(files) != 1 {
		t.Errorf("files %q", files)
	}
}

func TestPutOrderOfOperations(t *testing.T) {
	t.Parallel()
	log := &faults{}
	a := newArchive(t, log.disk())
	log.log = nil
	r, err := a.PutBytes(t.Context(), []byte("abc"))
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, line := range log.log {
		op, _, _ := strings.Cut(line, tempSuffix)
		if i := strings.LastIndex(op, " "); strings.HasSuffix(line, tempSuffix) {
			op = op[:i] + " temp"
		}
		got = append(got, op)
	}
	want := []string{"create temp", "write temp", "sync temp", "mkdir ba", "mkdir 78", "rename " + r.Hash.String(),
		"sync folder 78", "sync folder ba", "sync folder objects"}
	if !slices.Equal(got, want) {
		t.Errorf("operations\n%q, want\n%q", got, want)
	}
	log.log = nil
	if _, err := a.PutBytes(t.Context(), []byte("abc")); err != nil {
		t.Fatal(err)
	}
	if log.count("sync folder") != 1 || log.count("rename") != 0 {
		t.Errorf("operations of a repeated put: %q", log.log)
	}
}

func TestPutManySharesFolderSyncsAndReportsEach(t *testing.T) {
	t.Parallel()
	log := &faults{}
	a := newArchive(t, log.disk())
	dir := t.TempDir()
	var sources []Source
	for i := range 150 {
		name := fmt.Sprintf("run-%03d.csv", i)
		if err := os.WriteFile(filepath.Join(dir, name), fmt.Appendf(nil, "position;%d", i%140), 0o600); err != nil {
			t.Fatal(err)
		}
		sources = append(sources, Source{Root: dir, Path: name})
	}
	sources[77].Path = "gone.csv"
	outcomes := a.PutMany(t.Context(), sources)
	for i, o := range outcomes {
		if i == 77 {
			if !errors.Is(o.Err, fs.ErrNotExist) || o.Receipt != (Receipt{}) {
				t.Errorf("absent file: %+v", o)
			}
			continue
		}
		if o.Err != nil || o.Receipt.Hash != HashOf(fmt.Appendf(nil, "position;%d", i%140)) || o.Receipt.Existed != (i >= 140) {
			t.Fatalf("file %d: %+v", i, o)
		}
	}
	if files := filesBelow(t, a.dir); len(files) != 139 {
		t.Errorf("%d objects", len(files))
	}
	if n := log.count("sync folder"); n >= 3*139 {
		t.Errorf("%d folder syncs", n)
	}
}

func TestFailedOperationsLeaveNothingAndAcknowledgeNothing(t *testing.T) {
	t.Parallel()
	for _, op := range []string{"create", "write", "sync", "mkdir", "rename", "sync folder"} {
		t.Run(op, func(t *testing.T) {
			log := &faults{}
			a := newArchive(t, log.disk())
			source := writeFile(t, "ethyl acetate;31.7")
			log.fail = func(doing, _ string) error {
				if doing == op {
					return syscall.EIO
				}
				return nil
			}
			if r, err := a.Put(t.Context(), source); !errors.Is(err, syscall.EIO) || r != (Receipt{}) {
				t.Fatalf("receipt %+v, error %v", r, err)
			}
			for _, name := range filesBelow(t, a.dir) {
				if strings.HasPrefix(name, "tmp/") {
					t.Errorf("leftover %s", name)
				}
			}
			log.fail, log.log = nil, nil
			r, err := a.Put(t.Context(), source)
			if err != nil {
				t.Fatalf("after the fault: %v", err)
			}
			if _, err := a.Verify(t.Context(), r.Hash); err != nil {
				t.Error(err)
			}
			// Whatever a failed sync covered is written anew, never only synced again.
			if log.count("create") != 1 || log.count("rename") != 1 {
				t.Errorf("operations after the fault: %q", log.log)
			}
		})
	}
}

func TestFullVolumeIsToldApart(t *testing.T) {
	t.Parallel()
	log := &faults{}
	a := newArchive(t, log.disk())
	log.fail = func(op, _ string) error {
		if op == "write" {
			return syscall.ENOSPC
		}
		return nil
	}
	source := writeFile(t, "full")
	_, err := a.Put(t.Context(), source)
	full, ok := errors.AsType[*NoSpaceError](err)
	if !ok || full.Op != "write" || !errors.Is(err, syscall.ENOSPC) {
		t.Fatalf("error %v", err)
	}
	log.fail = nil
	a.Reserve = 1 << 60
	if _, known := freeSpace(a.dir); !known {
		t.Skip("the free space is not known on this system")
	}
	log.log = nil
	_, err = a.Put(t.Context(), source)
	if _, ok := errors.AsType[*NoSpaceError](err); !ok || len(log.log) > 0 {
		t.Errorf("below the reserve: %v, operations %q", err, log.log)
	}
	a.Reserve = DefaultReserve
	if _, err := a.Put(t.Context(), source); err != nil {
		t.Errorf("with room again: %v", err)
	}
}

// putWhile puts a file that is changed once its first block has been read.
func putWhile(t *testing.T, a *Archive, s Source, change func(path string)) error {
	t.Helper()
	file, id, err := s.Open()
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	var outcome Outcome
	once := sync.OnceFunc(func() { change(filepath.Join(s.Root, s.Path)) })
	st := a.stage(&outcome, id.Size, func(use func([]byte) error) (Hash, error) {
		return s.readSource(t.Context(), file, id, func(block []byte) error {
			once()
			return use(block)
		})
	})
	a.publish([]*staged{st})
	return outcome.Err
}

func TestChangeWhileReadingKeepsNothing(t *testing.T) {
	t.Parallel()
	content := strings.Repeat("0.125;", copyBlock/2)
	check := func(t *testing.T, err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	for name, change := range map[string]func(t *testing.T, path string){
		"grows": func(t *testing.T, path string) {
			f, err := os.OpenFile(path, os.O_WRONLY|os.O_APPEND, 0)
			check(t, err)
			_, err = f.WriteString("9")
			check(t, errors.Join(err, f.Close()))
		},
		"shrinks": func(t *testing.T, path string) { check(t, os.Truncate(path, 10)) },
		"is written over with its old time": func(t *testing.T, path string) {
			info, err := os.Stat(path)
			check(t, err)
			f, err := os.OpenFile(path, os.O_WRONLY, 0)
			check(t, err)
			_, err = f.WriteAt([]byte("9.999;"), int64(len(content)-6))
			check(t, errors.Join(err, f.Close(), os.Chtimes(path, info.ModTime(), info.ModTime())))
		},
	} {
		t.Run(name, func(t *testing.T) {
			a := newArchive(t, disk{})
			err := putWhile(t, a, writeFile(t, content), func(path string) { change(t, path) })
			if !errors.Is(err, ErrChanged) {
				t.Errorf("error %v", err)
			}
			if files := filesBelow(t, a.dir); len(files) > 0 {
				t.Errorf("kept %q", files)
			}
		})
	}
}

func TestReplacedOrRemovedWhileReadingKeepsTheOpenedFile(t *testing.T) {
	t.Parallel()
	content := strings.Repeat("x", 3*copyBlock)
	a := newArchive(t, disk{})
	err := putWhile(t, a, writeFile(t, content), func(path string) {
		if err := os.WriteFile(path+".new", []byte("y"), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := os.Rename(path+".new", path); err != nil {
			t.Fatal(err)
		}
	})
	// A name that now means another file changes the old file's change time where
	// there is one; either outcome is sound, a mixture is not.
	if err != nil && !errors.Is(err, ErrChanged) {
		t.Fatal(err)
	}
	for _, name := range filesBelow(t, a.dir) {
		if filepath.Base(name) != HashOf([]byte(content)).String() {
			t.Errorf("kept %s", name)
		}
	}
}

func TestSourceMustBeTheOneFoundReady(t *testing.T) {
	t.Parallel()
	a := newArchive(t, disk{})
	s := writeFile(t, "first")
	_, id, err := Digest(t.Context(), s)
	if err != nil {
		t.Fatal(err)
	}
	s.Want = id
	if r, err := a.Put(t.Context(), s); err != nil || r.Source != id {
		t.Fatalf("unchanged: %+v, %v", r, err)
	}
	path := filepath.Join(s.Root, s.Path)
	if err := os.WriteFile(path+"2", []byte("other"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(os.Chtimes(path+"2", id.ModTime(), id.ModTime()), os.Rename(path+"2", path)); err != nil {
		t.Fatal(err)
	}
	if _, err := a.Put(t.Context(), s); !errors.Is(err, ErrChanged) {
		t.Errorf("replaced by a file of equal size and time: %v", err)
	}
}

func TestOnlyRegularFilesInsideTheRootAreRead(t *testing.T) {
	t.Parallel()
	a := newArchive(t, disk{})
	outside := writeFile(t, "secret")
	dir := t.TempDir()
	if err := os.Mkdir(filepath.Join(dir, "folder"), 0o700); err != nil {
		t.Fatal(err)
	}
	links := map[string]string{"link": filepath.Join(outside.Root, outside.Path), "loop": "loop", "way": outside.Root}
	for name, target := range links {
		if err := os.Symlink(target, filepath.Join(dir, name)); err != nil {
			t.Skipf("no symbolic links here: %v", err)
		}
	}
	for name, want := range map[string]error{"folder": ErrNotRegular, "link": ErrNotRegular, "loop": ErrNotRegular, "way/run.csv": nil, "../x": nil} {
		_, err := a.Put(t.Context(), Source{Root: dir, Path: filepath.FromSlash(name)})
		if err == nil || want != nil && !errors.Is(err, want) {
			t.Errorf("%s: error %v", name, err)
		}
	}
	if _, err := a.Put(t.Context(), Source{Path: filepath.Join(dir, "link")}); !errors.Is(err, ErrNotRegular) {
		t.Errorf("link without a root: %v", err)
	}
	if files := filesBelow(t, a.dir); len(files) > 0 {
		t.Errorf("kept %q", files)
	}
}

func TestPutStopsWithItsContext(t *testing.T) {
	t.Parallel()
	a := newArchive(t, disk{})
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := a.Put(ctx, writeFile(t, "late")); !errors.Is(err, context.Canceled) {
		t.Errorf("file: %v", err)
	}
	if _, err := a.PutBytes(ctx, []byte("late")); !errors.Is(err, context.Canceled) {
		t.Errorf("bytes: %v", err)
	}
	if _, err := a.PutReader(t.Context(), io.MultiReader(strings.NewReader("half"), brokenReader{})); !errors.Is(err, io.ErrClosedPipe) {
		t.Errorf("broken reader: %v", err)
	}
	if files := filesBelow(t, a.dir); len(files) > 0 {
		t.Errorf("kept %q", files)
	}
}

type brokenReader struct{}

func (brokenReader) Read([]byte) (int, error) { return 0, io.ErrClosedPipe }

func TestConcurrentPutsOfEqualBytes(t *testing.T) {
	t.Parallel()
	a := newArchive(t, disk{})
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			for i := range 20 {
				if _, err := a.PutBytes(t.Context(), fmt.Appendf(nil, "blank %d", i)); err != nil {
					t.Error(err)
				}
			}
		})
	}
	wg.Wait()
	n := 0
	err := a.Each(t.Context(), func(o Object) error {
		n++
		_, err := a.Verify(t.Context(), o.Hash)
		return err
	})
	if err != nil || n != 20 {
		t.Errorf("%d objects, %v", n, err)
	}
}

func TestWriteFileDurableReplacesWhole(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "state.json")
	for _, content := range []string{"one", "two and more", ""} {
		if err := WriteFileDurable(path, []byte(content)); err != nil {
			t.Fatal(err)
		}
		if got, err := os.ReadFile(path); err != nil || string(got) != content {
			t.Errorf("got %q, %v", got, err)
		}
	}
	for _, op := range []string{"write", "sync", "rename"} {
		d := disk{fault: func(doing, _ string) error {
			if doing == op {
				return syscall.EIO
			}
			return nil
		}}
		if err := d.writeDurable(path, []byte("new")); !errors.Is(err, syscall.EIO) {
			t.Errorf("%s: %v", op, err)
		}
		if files := filesBelow(t, filepath.Dir(path)); len(files) != 1 {
			t.Errorf("%s left %q", op, files)
		}
	}
	if got, err := os.ReadFile(path); err != nil || len(got) > 0 {
		t.Errorf("after faults %q, %v", got, err)
	}
}
