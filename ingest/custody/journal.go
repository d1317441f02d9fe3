package custody

import (
	"bufio"
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"iter"
	"os"
	"path/filepath"
	"sync"
)

// Journal is the append-only list of arrivals, one checksummed line each. What
// Append has acknowledged is on the disk. Methods may be called from several
// goroutines; several processes need the folder's DirLock.
type Journal struct {
	path string
	disk disk

	mu     sync.Mutex
	file   *os.File
	size   int64   // bytes of whole records
	last   uint64  // number of the last record
	marks  []int64 // where record 1, 1+markEvery, 1+2*markEvery … starts
	broken error   // set when the end of the file is not known
}

const (
	markEvery = 256
	// maxBatch is the most bytes that are written at once, and so the most that an
	// interrupted write can leave.
	maxBatch = 16 << 20
)

// Torn tells that the journal ended in the middle of a write, which was cut off.
// Nothing in it had been acknowledged.
type Torn struct {
	Line  uint64 // number that the cut record would have had
	Bytes int64  // how many were cut
	Aside string // the file that keeps them
}

// OpenJournal opens the journal at path and makes it, with its folder, when
// absent. It reads every line. An interrupted last write is kept in a file
// beside the journal, cut off and told in torn. Damage anywhere else is a
// *JournalError and changes nothing.
func OpenJournal(path string) (j *Journal, torn *Torn, err error) { return openJournal(path, disk{}) }

func openJournal(path string, d disk) (*Journal, *Torn, error) {
	j := &Journal{path: path, disk: d}
	torn, err := j.open()
	if err != nil {
		if j.file != nil {
			err = errors.Join(err, j.file.Close())
		}
		return nil, nil, fmt.Errorf("open journal: %w", err)
	}
	return j, torn, nil
}

func (j *Journal) open() (torn *Torn, err error) {
	if err := j.disk.mkdirDurable(filepath.Dir(j.path)); err != nil {
		return nil, err
	}
	if j.file, err = j.disk.openAppend(j.path); err != nil {
		return nil, err
	}
	total, bad, err := j.check()
	if err != nil {
		return nil, err
	}
	if bad != nil {
		if torn, err = j.cut(total, bad); err != nil {
			return nil, err
		}
	}
	// What was read may be in memory only, from a process that died before its sync.
	if err := j.disk.syncFile(j.file, "journal-sync"); err != nil {
		return nil, err
	}
	return torn, j.disk.syncDir(filepath.Dir(j.path))
}

// check reads the whole file and sets size, last and marks from the sound records
// at its start. bad tells of an interrupted write after them.
func (j *Journal) check() (total int64, bad *JournalError, err error) {
	lines := lineReader{r: bufio.NewReaderSize(j.file, 64<<10)}
	damaged := 0
	for {
		line, whole, err := lines.next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return 0, nil, fmt.Errorf("read %s, line %d: %w", j.path, j.last+1, err)
		}
		start := total
		total = lines.offset
		body, soundErr := sound(line)
		switch {
		case bad != nil:
			if soundErr == nil && whole {
				return 0, nil, bad
			}
		case soundErr == nil && whole:
			if _, err := decode(body, j.last+1); err != nil {
				return 0, nil, j.damage(start, err)
			}
			j.grow(start, total)
			continue
		default:
			if soundErr == nil {
				soundErr = errors.New("the line has no end")
			}
			bad = j.damage(start, soundErr)
		}
		if whole {
			damaged++
		}
	}
	if bad != nil && (damaged > 1 || total-j.size > maxBatch) {
		return 0, nil, bad
	}
	return total, bad, nil
}

func (j *Journal) damage(offset int64, reason error) *JournalError {
	return &JournalError{Path: j.path, Line: j.last + 1, Offset: offset, Reason: reason.Error()}
}

// cut keeps the end of the file aside and takes it off the journal.
func (j *Journal) cut(total int64, bad *JournalError) (*Torn, error) {
	tail := make([]byte, total-j.size)
	if _, err := j.file.ReadAt(tail, j.size); err != nil {
		return nil, fmt.Errorf("read the interrupted write in %s: %w", j.path, err)
	}
	sum := HashOf(tail)
	torn := &Torn{Line: bad.Line, Bytes: total - j.size, Aside: fmt.Sprintf("%s.torn-%d-%s", j.path, j.size, hex.EncodeToString(sum[:4]))}
	if err := j.disk.writeDurable(torn.Aside, tail); err != nil {
		return nil, err
	}
	return torn, j.disk.truncate(j.file, j.size)
}

// grow counts one sound record that begins at start and ends before end.
func (j *Journal) grow(start, end int64) {
	if j.last%markEvery == 0 {
		j.marks = append(j.marks, start)
	}
	j.last++
	j.size = end
}

// Last is the number of the last record, 0 when there is none.
func (j *Journal) Last() uint64 {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.last
}

// Append writes the arrivals as one batch and returns when they are on the disk,
// with their numbers set. After an error none of them counts, and the journal is
// as it was. The context is asked before the write only.
func (j *Journal) Append(ctx context.Context, arrivals []Arrival) error {
	records := make([]Record, len(arrivals))
	for i := range arrivals {
		a := &arrivals[i]
		if a.Daemon == "" || a.Root == "" || len(a.Path) == 0 || a.SHA256.IsZero() || a.Size < 0 {
			return fmt.Errorf("append to the journal: arrival %d of %d (%q) lacks daemon, root, path, hash or size", i+1, len(arrivals), a.PathText)
		}
		records[i] = Record{Kind: KindArrival, Arrival: a}
	}
	first, err := j.append(ctx, records)
	if err != nil {
		return fmt.Errorf("append %d arrivals to the journal: %w", len(arrivals), err)
	}
	for i := range arrivals {
		arrivals[i].Number = first + uint64(i)
	}
	return nil
}

// AppendAnchor writes where the ledger's head stands and returns the record's
// number when it is on the disk.
func (j *Journal) AppendAnchor(ctx context.Context, a Anchor) (uint64, error) {
	number, err := j.append(ctx, []Record{{Kind: KindAnchor, Anchor: &a}})
	if err != nil {
		return 0, fmt.Errorf("append an anchor to the journal: %w", err)
	}
	return number, nil
}

func (j *Journal) append(ctx context.Context, records []Record) (first uint64, err error) {
	if err := ctx.Err(); err != nil {
		return 0, err
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.broken != nil {
		return 0, fmt.Errorf("an earlier write failed and could not be undone; open the journal again: %w", j.broken)
	}
	first = j.last + 1
	var batch []byte
	ends := make([]int64, len(records))
	for i, r := range records {
		r.Number = first + uint64(i)
		if batch, err = appendLine(batch, r); err != nil {
			return 0, err
		}
		ends[i] = j.size + int64(len(batch))
	}
	if len(batch) > maxBatch {
		return 0, fmt.Errorf("%d bytes are more than one batch may have (%d)", len(batch), maxBatch)
	}
	if len(batch) == 0 {
		return first, nil
	}
	err = j.disk.write(j.file, batch)
	if err == nil {
		err = j.disk.syncFile(j.file, "journal-sync")
	}
	if err != nil {
		// After a failed sync the bytes must not be trusted: take them back, and a
		// later append writes them anew.
		if undo := j.disk.truncate(j.file, j.size); undo != nil {
			j.broken = errors.Join(err, undo)
			return 0, j.broken
		}
		return 0, err
	}
	for _, end := range ends {
		j.grow(j.size, end)
	}
	return first, nil
}

// Records gives the records from number from on, up to the last one at the time
// of the call. It reads the file and checks each line again; an error ends it.
func (j *Journal) Records(from uint64) iter.Seq2[Record, error] {
	from = max(from, 1)
	j.mu.Lock()
	last, size, marks := j.last, j.size, j.marks
	j.mu.Unlock()
	return func(yield func(Record, error) bool) {
		if from > last {
			return
		}
		mark := (from - 1) / markEvery
		if err := readRecords(j.path, marks[mark], size, mark*markEvery+1, func(r Record) bool {
			return r.Number < from || yield(r, nil)
		}); err != nil {
			yield(Record{}, fmt.Errorf("read journal: %w", err))
		}
	}
}

// readRecords reads the records between two offsets, of which the first has the
// given number, until visit has enough.
func readRecords(path string, start, end int64, number uint64, visit func(Record) bool) (err error) {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	lines := lineReader{r: bufio.NewReaderSize(io.NewSectionReader(f, start, end-start), 64<<10), offset: start}
	for ; lines.offset < end; number++ {
		at := lines.offset
		line, whole, err := lines.next()
		if err == nil && !whole {
			err = errors.New("the line has no end")
		}
		var body []byte
		if err == nil {
			body, err = sound(line)
		}
		var record Record
		if err == nil {
			record, err = decode(body, number)
		}
		if err != nil {
			return &JournalError{Path: path, Line: number, Offset: at, Reason: err.Error()}
		}
		if !visit(record) {
			return nil
		}
	}
	return nil
}

// Close closes the file. Records must not be read after it.
func (j *Journal) Close() error {
	j.mu.Lock()
	defer j.mu.Unlock()
	if err := j.file.Close(); err != nil {
		return fmt.Errorf("close journal: %w", err)
	}
	return nil
}

// lineReader reads lines and keeps no more of one than a record can have.
type lineReader struct {
	r      *bufio.Reader
	offset int64 // where the next line starts
	buf    []byte
}

// next gives a line without its newline, valid until the next call; whole says
// that the newline was there. An over-long line comes cut, which is no sound line.
func (l *lineReader) next() (line []byte, whole bool, err error) {
	l.buf = l.buf[:0]
	for {
		part, err := l.r.ReadSlice('\n')
		l.offset += int64(len(part))
		if room := maxLine - len(l.buf); len(part) > room {
			l.buf = append(l.buf, part[:room]...)
		} else {
			l.buf = append(l.buf, part...)
		}
		switch {
		case err == nil:
			if l.buf[len(l.buf)-1] == '\n' {
				return l.buf[:len(l.buf)-1], true, nil
			}
			return l.buf, true, nil
		case errors.Is(err, bufio.ErrBufferFull):
		case errors.Is(err, io.EOF) && len(l.buf) > 0:
			return l.buf, false, nil
		default:
			return nil, false, err
		}
	}
}
