package standard

import (
	"os"
	"testing"

	"underbond/parsers/parserstest"
)

func TestSchema(t *testing.T) {
	schema, err := os.ReadFile("standards.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	parserstest.TableSchema(t, schema, layout.Columns, layout.Required)
}
