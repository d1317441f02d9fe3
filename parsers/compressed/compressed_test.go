package compressed

import (
	"archive/zip"
	"bytes"
	"compress/gzip"
	"context"
	"encoding/base64"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"io/fs"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"underbond/parsers"
)

// bzip2Text is "pear brandy, invented\n" as bzip2 writes it.
const bzip2Text = "QlpoOTFBWSZTWbPRRyAAAAhRgAAQQAQ2IVUgIAAimmCMeqEAAB6Y52Eq8HuDFPaPi7kinChIWeijkAA="

const text = "pear brandy, invented\n"

func packed(parts ...string) []byte {
	var b bytes.Buffer
	for _, part := range parts {
		z := gzip.NewWriter(&b)
		_, _ = io.WriteString(z, part) // a buffer takes everything
		_ = z.Close()
	}
	return b.Bytes()
}

type entry struct {
	name string
	data string
	mode fs.FileMode
}

func archive(t testing.TB, entries ...entry) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, e := range entries {
		h := &zip.FileHeader{Name: e.name, Method: zip.Deflate}
		h.SetMode(e.mode | 0o644)
		w, err := z.CreateHeader(h)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := io.WriteString(w, e.data); err != nil && e.data != "" {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func fromBase64(t testing.TB, s string) []byte {
	b, err := base64.StdEncoding.DecodeString(s)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// readAll gives kind and data of every member by name.
func readAll(content []byte, limits parsers.Limits) (Kind, map[string]string, error) {
	c, err := Open(bytes.NewReader(content), int64(len(content)), limits)
	if err != nil {
		return "", nil, err
	}
	got := map[string]string{}
	for _, m := range c.Members {
		in, err := m.Open()
		if err != nil {
			return "", nil, err
		}
		data, err := io.ReadAll(in)
		if err := errors.Join(err, in.Close()); err != nil {
			return "", nil, err
		}
		got[m.Name] = string(data)
	}
	return c.Kind, got, nil
}

func TestContentIsFoundByItsFirstBytes(t *testing.T) {
	for name, c := range map[string]struct {
		content []byte
		kind    Kind
		want    map[string]string
	}{
		"plain":                {[]byte(text), Plain, map[string]string{"": text}},
		"empty":                {nil, Plain, map[string]string{"": ""}},
		"text like bzip2":      {[]byte("BZh9 was the vial\n"), Plain, map[string]string{"": "BZh9 was the vial\n"}},
		"gzip":                 {packed(text), Gzip, map[string]string{"": text}},
		"gzip, two members":    {packed(text, "more\n"), Gzip, map[string]string{"": text + "more\n"}},
		"gzip of nothing":      {packed(""), Gzip, map[string]string{"": ""}},
		"bzip2":                {fromBase64(t, bzip2Text), Bzip2, map[string]string{"": text}},
		"zip, one member":      {archive(t, entry{"d/", "", fs.ModeDir}, entry{"d/a.dx", text, 0}), Zip, map[string]string{"": text}},
		"zip, two members":     {archive(t, entry{"a.dx", text, 0}, entry{"d/b.dx", "b", 0}), Zip, map[string]string{"a.dx": text, "d/b.dx": "b"}},
		"zip, names to escape": {archive(t, entry{"a\x01", "1", 0}, entry{`a\x01`, "2", 0}, entry{"é\u202e", "3", 0}), Zip, map[string]string{`a\x01`: "1", `a\\x01`: "2", `é\u202e`: "3"}},
	} {
		t.Run(name, func(t *testing.T) {
			kind, got, err := readAll(c.content, parsers.Limits{})
			if err != nil || kind != c.kind || fmt.Sprint(got) != fmt.Sprint(c.want) {
				t.Errorf("%s %q %v, want %s %q", kind, got, err, c.kind, c.want)
			}
		})
	}
}

func TestRefusals(t *testing.T) {
	change := func(b []byte, at int) []byte {
		b = bytes.Clone(b)
		if at < 0 {
			at += len(b)
		}
		b[at] ^= 0x40
		return b
	}
	one := archive(t, entry{"a.dx", text, 0})
	random := rapid.SliceOfN(rapid.Byte(), 2000, 2000).Example(1)
	stored := archive(t, entry{"a.dx", string(random), 0})
	zeros := strings.Repeat("0", 12<<20)
	tar := append(make([]byte, 257), "ustar\x0000"...)
	encrypted := bytes.Clone(one)
	encrypted[bytes.Index(encrypted, []byte("PK\x01\x02"))+8] |= flagEncrypted
	method := bytes.Clone(one)
	method[bytes.Index(method, []byte("PK\x01\x02"))+10] = 12
	for name, c := range map[string]struct {
		content []byte
		limits  parsers.Limits
		code    string
	}{
		"gzip cut":                 {content: packed(text)[:20], code: CodeCut},
		"gzip cut in its header":   {content: packed(text)[:5], code: CodeCut},
		"gzip cut in its checksum": {content: packed(text)[:len(packed(text))-3], code: CodeCut},
		"gzip, second member cut":  {content: packed(text, text)[:len(packed(text))+15], code: CodeCut},
		"gzip, checksum wrong":     {content: change(packed(text), -6), code: CodeDamaged},
		"gzip, garbage after it":   {content: append(packed(text), "garbage after the data"...), code: CodeDamaged},
		"gzip of gzip":             {content: packed(string(packed(text))), code: CodeNested},
		"gzip of zip":              {content: packed(string(one)), code: CodeNested},
		"gzip of tar":              {content: packed(string(tar)), code: CodeNested},
		"gzip bomb":                {content: packed(zeros), code: CodeRatio},
		"gzip over the limit":      {content: packed(text), limits: parsers.Limits{TotalBytes: 10}, code: CodeLimitBytes},
		"bzip2 cut":                {content: fromBase64(t, bzip2Text)[:40], code: CodeCut},
		"bzip2, checksum wrong":    {content: change(fromBase64(t, bzip2Text), 12), code: CodeDamaged},
		"zip cut":                  {content: one[:len(one)-10], code: CodeCut},
		"zip, only a local header": {content: one[:32], code: CodeCut},
		"zip, data damaged":        {content: change(stored, 1000), code: CodeDamaged},
		"zip of nothing":           {content: archive(t), code: CodeEmpty},
		"zip of folders":           {content: archive(t, entry{"a/", "", fs.ModeDir}), code: CodeEmpty},
		"zip of gzip":              {content: archive(t, entry{"a.gz", string(packed(text)), 0}), code: CodeNested},
		"zip of zip":               {content: archive(t, entry{"a.zip", string(one), 0}, entry{"b", text, 0}), code: CodeNested},
		"zip, up":                  {content: archive(t, entry{"../a.dx", text, 0}), code: CodeName},
		"zip, up and back":         {content: archive(t, entry{"d/../a.dx", text, 0}), code: CodeName},
		"zip, up with backslash":   {content: archive(t, entry{`..\a.dx`, text, 0}), code: CodeName},
		"zip, absolute":            {content: archive(t, entry{"/a.dx", text, 0}), code: CodeName},
		"zip, drive":               {content: archive(t, entry{`c:\a.dx`, text, 0}), code: CodeName},
		"zip, no name":             {content: archive(t, entry{"", text, 0}), code: CodeName},
		"zip, symbolic link":       {content: archive(t, entry{"a.dx", "/etc/passwd", fs.ModeSymlink}), code: CodeLink},
		"zip, name twice":          {content: archive(t, entry{"a.dx", text, 0}, entry{"a.dx", text, 0}), code: CodeDuplicate},
		"zip, name twice, spelt":   {content: archive(t, entry{"a.dx", text, 0}, entry{"./a.dx", text, 0}), code: CodeDuplicate},
		"zip, encrypted":           {content: encrypted, code: CodeMethod},
		"zip, other method":        {content: method, code: CodeMethod},
		"zip bomb":                 {content: archive(t, entry{"a.dx", zeros, 0}), code: CodeRatio},
		"zip over the limit":       {content: archive(t, entry{"a", text, 0}, entry{"b", text, 0}), limits: parsers.Limits{TotalBytes: 30}, code: CodeLimitBytes},
		"zip, many members":        {content: archive(t, many(maxMembers+1)...), code: CodeLimitMembers},
		"zip, shared data":         {content: sharing(t), code: CodeOverlap},
	} {
		t.Run(name, func(t *testing.T) {
			_, got, err := readAll(c.content, c.limits)
			var refusal *parsers.Refusal
			if !errors.As(err, &refusal) || refusal.Code != c.code || refusal.Message == "" {
				t.Fatalf("got %.100q %v, want %s", got, err, c.code)
			}
			if IsCut(err) != (c.code == CodeCut) {
				t.Error("IsCut is wrong")
			}
		})
	}
}

func many(n int) []entry {
	list := make([]entry, n)
	for i := range list {
		list[i].name = fmt.Sprint(i)
	}
	return list
}

// sharing makes an archive whose second directory entry leads to the first one's data.
func sharing(t *testing.T) []byte {
	t.Helper()
	b := archive(t, entry{"a", text, 0}, entry{"b", text, 0})
	directory := bytes.Index(b, []byte("PK\x01\x02"))
	second := directory + 1 + bytes.Index(b[directory+1:], []byte("PK\x01\x02"))
	const headerOffset = 42
	copy(b[second+headerOffset:second+headerOffset+4], b[directory+headerOffset:directory+headerOffset+4])
	return b
}

// TestSizeLiesAreRefused: a directory that declares too little or too much.
func TestSizeLiesAreRefused(t *testing.T) {
	for name, size := range map[string]uint64{"less": 5, "more": 50} {
		t.Run(name, func(t *testing.T) {
			var raw, b bytes.Buffer
			raw.WriteString(text)
			z := zip.NewWriter(&b)
			w, err := z.CreateRaw(&zip.FileHeader{Name: "a", Method: zip.Store, CRC32: crc32.ChecksumIEEE(raw.Bytes()),
				CompressedSize64: uint64(raw.Len()), UncompressedSize64: size})
			if err != nil {
				t.Fatal(err)
			}
			if _, err := w.Write(raw.Bytes()); err != nil {
				t.Fatal(err)
			}
			if err := z.Close(); err != nil {
				t.Fatal(err)
			}
			_, got, err := readAll(b.Bytes(), parsers.Limits{})
			var refusal *parsers.Refusal
			if !errors.As(err, &refusal) || refusal.Code != CodeDamaged {
				t.Errorf("got %q %v", got, err)
			}
		})
	}
}

type failing struct{ err error }

func (f failing) ReadAt(p []byte, off int64) (int, error) {
	if off > 0 {
		return 0, f.err
	}
	return copy(p, packed(text)[:16]), f.err
}

func TestErrorsOfTheSourceAreNoRefusal(t *testing.T) {
	boom := errors.New("the disk is gone")
	for name, content := range map[string][]byte{"gzip": packed(text), "zip": archive(t, entry{"a", text, 0})} {
		t.Run(name, func(t *testing.T) {
			for n := range 6 {
				_, _, err := readFrom(&dying{r: bytes.NewReader(content), left: n, err: boom}, int64(len(content)))
				var refusal *parsers.Refusal
				if err != nil && (!errors.Is(err, boom) || errors.As(err, &refusal)) {
					t.Errorf("after %d reads: %v", n, err)
				}
				if n == 0 && err == nil {
					t.Error("no error")
				}
			}
		})
	}
	if _, err := Open(failing{boom}, 100, parsers.Limits{}); !errors.Is(err, boom) {
		t.Errorf("got %v", err)
	}
}

// dying gives an error after some reads.
type dying struct {
	r    io.ReaderAt
	left int
	err  error
}

func (d *dying) ReadAt(p []byte, off int64) (int, error) {
	if d.left--; d.left < 0 {
		return 0, d.err
	}
	return d.r.ReadAt(p, off)
}

func readFrom(r io.ReaderAt, size int64) (Kind, int64, error) {
	c, err := Open(r, size, parsers.Limits{})
	if err != nil {
		return "", 0, err
	}
	in, err := c.Members[0].Open()
	if err != nil {
		return "", 0, err
	}
	defer in.Close()
	n, err := io.Copy(io.Discard, in)
	return c.Kind, n, err
}

// TestPlacesAreThoseOfTheData reads decompressed data at random places, in memory and
// beyond what is kept.
func TestPlacesAreThoseOfTheData(t *testing.T) {
	for name, size := range map[string]int{"short": 300 << 10, "long": wholeBytes + 3<<20 + 7} {
		t.Run(name, func(t *testing.T) {
			data := make([]byte, size)
			state := uint64(1)
			for i := range data {
				state = state*6364136223846793005 + 1442695040888963407
				data[i] = byte(state >> 60)
			}
			content := packed(string(data))
			c, err := Open(bytes.NewReader(content), int64(len(content)), parsers.Limits{})
			if err != nil {
				t.Fatal(err)
			}
			_, _, err = c.Members[0].EndProof(context.Background(), proverFunc(func(r io.ReaderAt, n int64) {
				if n != int64(size) {
					t.Fatalf("size %d, want %d", n, size)
				}
				for _, off := range []int{0, 100, size - 10, size / 2, size/2 + 5000, 70 << 10, size - tailBytes + 5, size - 1, 3, size} {
					off = max(off, 0)
					got := make([]byte, 50)
					k, err := r.ReadAt(got, int64(off))
					want := data[off:min(off+50, size)]
					if !bytes.Equal(got[:k], want) || (k < 50) != (err == io.EOF) || err != nil && err != io.EOF {
						t.Errorf("at %d: %d bytes, %v", off, k, err)
					}
				}
			}))
			if err != nil {
				t.Fatal(err)
			}
		})
	}
}

type proverFunc func(io.ReaderAt, int64)

func (f proverFunc) EndProof(r io.ReaderAt, size int64) (parsers.EndProof, string, error) {
	f(r, size)
	return parsers.EndProofHeld, "", nil
}

func TestStopsWithItsContext(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	content := packed(text)
	c, err := Open(bytes.NewReader(content), int64(len(content)), parsers.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := c.Members[0].EndProof(ctx, proverFunc(nil)); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
	}
}

func FuzzOpen(f *testing.F) {
	f.Add([]byte(text))
	f.Add(packed(text, text))
	f.Add(archive(f, entry{"a.dx", text, 0}, entry{"d/", "", fs.ModeDir}, entry{"d/b", "b", 0}))
	f.Add(fromBase64(f, bzip2Text))
	f.Fuzz(func(t *testing.T, content []byte) {
		limits := parsers.Limits{TotalBytes: 1 << 20}
		_, got, err := readAll(content, limits)
		var refusal *parsers.Refusal
		if err != nil && !errors.As(err, &refusal) {
			t.Fatal(err)
		}
		total := 0
		for _, data := range got {
			total += len(data)
		}
		if total > 1<<20 {
			t.Fatalf("%d bytes", total)
		}
	})
}
