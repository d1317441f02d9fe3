package server

import (
	"encoding/base64"
	"slices"
	"strings"
	"testing"
)

func TestOwnsData(t *testing.T) {
	const data = "/srv/lab/pg/15/data"
	cases := map[string]struct {
		args []string
		want bool
	}{
		"ours":                    {[]string{"/usr/lib/postgresql/15/bin/postgres", "-D", data, "-c", "port=1"}, true},
		"ours, joined":            {[]string{"postgres", "-D" + data}, true},
		"ours, after other":       {[]string{"postmaster", "-p", "5", "-D", data + "/"}, true},
		"ours on Windows":         {[]string{"postgres.exe", "-D", data}, true},
		"another folder":          {[]string{"postgres", "-D", data + "2"}, false},
		"another program":         {[]string{"ls", "-D", data}, false},
		"a program that names it": {[]string{"vi", data}, false},
		"no folder":               {[]string{"postgres"}, false},
		"folder left out":         {[]string{"postgres", "-D"}, false},
		"ended":                   {nil, false},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			if got := ownsData(c.args, data); got != c.want {
				t.Errorf("%q: %v, want %v", c.args, got, c.want)
			}
		})
	}
}

func TestSplitServerCommand(t *testing.T) {
	for command, want := range map[string][]string{
		"/opt/pg/bin/postgres -D /srv/bonded store/pg/15/data -c port=1 -c a=b": {"/opt/pg/bin/postgres", "-D", "/srv/bonded store/pg/15/data"},
		"sleep 600": {"sleep", "600"},
		"":          nil,
	} {
		if got := splitServerCommand(command); !slices.Equal(got, want) {
			t.Errorf("%q: %q, want %q", command, got, want)
		}
	}
}

func TestLines(t *testing.T) {
	var got []string
	l := &lines{log: func(s string) { got = append(got, s) }}
	for _, part := range []string{"one\ntw", "o\r\n\nthr", "ee", strings.Repeat("x", longestLine)} {
		if n, err := l.Write([]byte(part)); n != len(part) || err != nil {
			t.Fatal(n, err)
		}
	}
	l.Write([]byte("end"))
	l.flush()
	want := []string{"one", "two", "", "three" + strings.Repeat("x", longestLine), "end"}
	if !slices.Equal(got, want) {
		t.Errorf("lines are %.40q, want %.40q", got, want)
	}
	for range 3 * keptLines {
		l.Write([]byte("again\n"))
	}
	if n := len(l.tail()); n != keptLines {
		t.Errorf("%d lines are kept, want %d", n, keptLines)
	}
}

// TestScramVerifier checks against the example exchange of RFC 7677, section 3:
// user "user", password "pencil". The server key signs the exchange; the
// expected key follows from the published salt and 4096 rounds.
func TestScramVerifier(t *testing.T) {
	salt, err := base64.StdEncoding.DecodeString("W22ZaJ0SNY7soEsUEjb6gQ==")
	if err != nil {
		t.Fatal(err)
	}
	got, err := scramVerifier("pencil", salt)
	if err != nil {
		t.Fatal(err)
	}
	const want = "SCRAM-SHA-256$4096:W22ZaJ0SNY7soEsUEjb6gQ==$WG5d8oPm3OtcPnkdi4Uo7BkeZkBFzpcXkuLmtbsT4qY=:wfPLwcE6nTWhTAmQ7tl2KeoiWGPlZqQxSrmfPwDl2dU="
	if got != want {
		t.Errorf("verifier is %s, want %s", got, want)
	}
}

func TestPsqlCommandQuotes(t *testing.T) {
	for goos, want := range map[string]string{
		"linux":   `PGPASSFILE='/a b/pgpass' /bin/psql -h '/it'\''s' -p 5432 -U underbond_admin -d underbond`,
		"windows": `set "PGPASSFILE=/a b/pgpass" && "/bin/psql" -h /it's -p 5432 -U underbond_admin -d "underbond"`,
	} {
		if got := psqlCommand(goos, "/bin/psql", "/a b/pgpass", "/it's", 5432, "underbond"); got != want {
			t.Errorf("%s: %s\nwant %s", goos, got, want)
		}
	}
}

func TestSocketFits(t *testing.T) {
	at := func(n int) string { return "/" + strings.Repeat("a", n-len(socketFile)-2) }
	for dir, want := range map[string]bool{
		at(maxSocketPath):     true,
		at(maxSocketPath + 1): false,
		"/a,b":                false,
		"/a b":                true,
	} {
		if got := socketFits(dir); got != want {
			t.Errorf("%s: %v, want %v", dir, got, want)
		}
	}
}
