package main

import (
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"

	"underbond/cmd/underbond/inspect"
)

func TestInspectText(t *testing.T) {
	r := runs(t, "inspect", "-p", "testdata/batch/peaks.yaml", "--zone", "Europe/Berlin", "testdata/batch/peaks.csv")
	if r.code != exitOK || r.err != "" {
		t.Fatalf("%+v", r)
	}
	golden(t, "inspect.txt", r.out)
}

func TestInspectJSON(t *testing.T) {
	cut := write(t, "cut.dx", "##TITLE= cut\n##JCAMP-DX= 5.01\n")
	r := runs(t, "inspect", "--json", "-p", "testdata/batch/peaks.yaml", "testdata/batch/peaks.csv", cut)
	lines := strings.Split(strings.TrimSuffix(r.out, "\n"), "\n")
	if r.code != exitFailed || len(lines) != 2 {
		t.Fatalf("%+v", r)
	}
	outcomes := []string{inspect.OutcomeRead, inspect.OutcomeRefused}
	for i, line := range lines {
		var got struct {
			File, SHA256, Outcome string
			Acquisitions          []struct {
				Sample string
				Tables []struct {
					Rows  int
					Cells [][]any
				}
			}
		}
		if err := json.Unmarshal([]byte(line), &got); err != nil {
			t.Fatal(err)
		}
		if got.Outcome != outcomes[i] || len(got.SHA256) != 64 {
			t.Errorf("%+v", got)
		}
		if i == 0 && (got.File != "testdata/batch/peaks.csv" || len(got.Acquisitions) != 11 || got.Acquisitions[6].Sample != "OC-001" || got.Acquisitions[6].Tables[0].Rows != 1 || got.Acquisitions[6].Tables[0].Cells != nil) {
			t.Errorf("%+v", got)
		}
	}
}

func TestInspectRefusesDelimitedWithoutProfile(t *testing.T) {
	r := runs(t, "inspect", "testdata/batch/peaks.csv")
	if r.code != exitFailed || !strings.Contains(r.out, "refusal no-profile") || !strings.Contains(r.out, "--profile") || r.err != "" {
		t.Errorf("%+v", r)
	}
}

func TestInspectGoesOnAfterAnUnreadableFile(t *testing.T) {
	r := runs(t, "inspect", "-p", "testdata/batch/peaks.yaml", filepath.Join(t.TempDir(), "absent.csv"), "testdata/batch/peaks.csv")
	if r.code != exitFailed || !strings.Contains(r.err, "absent.csv") || !strings.Contains(r.out, "peaks.csv: read") {
		t.Errorf("%+v", r)
	}
}

func TestInspectNeedsAGoodProfile(t *testing.T) {
	bad := write(t, "bad.yaml", strings.Replace(read(t, "testdata/batch/peaks.yaml"), "shape:", "shpe:", 1))
	r := runs(t, "inspect", "-p", bad, "testdata/batch/peaks.csv")
	if r.code != exitFailed || r.out != "" || !strings.Contains(r.err, bad+":16:1: unknown key \"shpe\"") {
		t.Errorf("%+v", r)
	}
}
