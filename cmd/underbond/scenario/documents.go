package scenario

import (
	"fmt"
	"io/fs"
	"path"
	"strconv"

	"underbond/testdata/demo"
)

// staticDocuments takes up the methods and profiles, which are files of their own.
func (b *builder) staticDocuments() error {
	for _, folder := range []struct{ name, kind string }{{"methods", "method"}, {"profiles", "profile"}} {
		entries, err := fs.ReadDir(demo.Documents, folder.name)
		if err != nil {
			return fmt.Errorf("list the demonstration's %s: %w", folder.name, err)
		}
		for _, entry := range entries {
			file := path.Join(folder.name, entry.Name())
			data, err := demo.Documents.ReadFile(file)
			if err != nil {
				return fmt.Errorf("read the demonstration's %s: %w", file, err)
			}
			b.document(folder.kind, file, data)
		}
	}
	return nil
}

// registerCSV writes the sample register of the survey.
func registerCSV(cellar []bottle) []byte {
	rows := [][]string{
		{"document", "register", "name", "county-survey-2026", "version", "1", "author", "Sunniva Reck (invented)"},
		{"sample_id", "lot", "category", "received_at", "producer", "seal", "storage", "opened_at", "reference_material",
			"claim_age_years", "claim_cask_wood", "claim_cask_held", "claim_feedstock", "claim_still", "claim_origin",
			"claim_additions", "claim_status"},
	}
	for i, b := range cellar {
		reference := "no"
		if b.refMat {
			reference = "yes"
		}
		c := b.claim
		rows = append(rows, []string{b.id, fmt.Sprintf("L26-%04d", 311+17*i), b.category, b.received, b.producer, "intact",
			"dark, 18 °C", b.opened, reference, c.age, c.wood, c.held, c.feedstock, c.still, c.origin, c.additions, c.status})
	}
	return csvBytes(rows)
}

// worklistCSV writes the worklist of a batch.
func worklistCSV(p *plan) []byte {
	rows := [][]string{
		{"document", "worklist", "name", p.name, "version", "1", "method", p.method, "instrument", p.instrument, "author", "Runa Falk (invented)"},
		{"position", "run", "prep_batch", "prep_id", "file", "vial", "sample", "role", "standards", "nominal", "dilution", "parent"},
	}
	for _, e := range p.entries {
		dilution, parent := "", ""
		if e.dilution != 1 {
			dilution = number(e.dilution)
		}
		if e.parent > 0 {
			parent = strconv.Itoa(e.parent)
		}
		rows = append(rows, []string{strconv.Itoa(e.position), p.name, e.prepBatch, e.prepID, e.file, e.vial, e.sample, e.role,
			e.standard, "", dilution, parent})
	}
	return csvBytes(rows)
}
