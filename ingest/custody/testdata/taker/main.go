// Command taker takes every file of a folder into custody and prints what is
// acknowledged. A test kills it at every durable operation.
//
//	taker DATA SOURCE
package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"underbond/ingest/custody"
)

func main() {
	if err := run(context.Background(), os.Args[1], os.Args[2]); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func run(ctx context.Context, data, source string) error {
	lock, err := custody.LockDir(data)
	if err != nil {
		return err
	}
	defer lock.Unlock()
	archive, err := custody.OpenArchive(filepath.Join(data, "archive"))
	if err != nil {
		return err
	}
	fmt.Println("archive", archive.ID())
	journal, _, err := custody.OpenJournal(filepath.Join(data, "journal", "arrivals.ndjson"))
	if err != nil {
		return err
	}
	defer journal.Close()
	taken := map[string]bool{}
	for record, err := range journal.Records(1) {
		if err != nil {
			return err
		}
		if record.Arrival != nil {
			taken[string(record.Arrival.Path)] = true
		}
	}
	entries, err := os.ReadDir(source)
	if err != nil {
		return err
	}
	var sources []custody.Source
	for _, entry := range entries {
		if !taken[entry.Name()] {
			sources = append(sources, custody.Source{Root: source, Path: entry.Name()})
		}
	}
	var arrivals []custody.Arrival
	for i, o := range archive.PutMany(ctx, sources) {
		if o.Err != nil {
			return o.Err
		}
		path := sources[i].Path
		arrivals = append(arrivals, custody.Arrival{
			Daemon: "taker", Root: "source", Path: []byte(path), PathText: path, SourceMtime: o.Receipt.Source.ModTime(),
			Size: o.Receipt.Size, SHA256: o.Receipt.Hash, EndProof: "none", TakenAt: time.Now().UTC(),
		})
	}
	if err := journal.Append(ctx, arrivals); err != nil {
		return err
	}
	for _, a := range arrivals {
		fmt.Println("taken", a.SHA256)
	}
	if _, err := journal.AppendAnchor(ctx, custody.Anchor{Seq: 1, Hash: "00", At: time.Now().UTC()}); err != nil {
		return err
	}
	if err := custody.WriteFileDurable(filepath.Join(data, "state"), []byte("done\n")); err != nil {
		return err
	}
	fmt.Println("done")
	return nil
}
