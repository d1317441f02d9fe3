package main

import (
	"os/exec"
	"slices"
	"strings"
	"testing"
)

func TestCompletionNamesEverything(t *testing.T) {
	for _, shell := range []string{"bash", "zsh", "fish"} {
		t.Run(shell, func(t *testing.T) {
			r := runs(t, "completion", shell)
			if r.code != exitOK || r.err != "" {
				t.Fatalf("%+v", r)
			}
			for _, word := range append(commandNames(t), "worklist", "points") {
				if !strings.Contains(r.out, word) {
					t.Errorf("%s is missing", word)
				}
			}
		})
	}
}

func bash(t *testing.T, arguments []string, script string) string {
	t.Helper()
	shell, err := exec.LookPath("bash")
	if err != nil {
		t.Skip("there is no bash")
	}
	command := exec.Command(shell, append([]string{"--norc"}, arguments...)...)
	command.Stdin = strings.NewReader(script)
	out, err := command.CombinedOutput()
	if err != nil {
		t.Fatalf("bash: %v\n%s", err, out)
	}
	return string(out)
}

func TestCompletionScriptsAreWellFormed(t *testing.T) {
	for _, shell := range []string{"bash", "zsh"} { // the latter's is of the same words
		t.Run(shell, func(t *testing.T) {
			if out := bash(t, []string{"-n"}, runs(t, "completion", shell).out); out != "" {
				t.Errorf("bash -n says %s", out)
			}
		})
	}
}

// TestBashCompletes asks the function that the script registers, as the shell does.
func TestBashCompletes(t *testing.T) {
	script := runs(t, "completion", "bash").out
	cases := map[string]struct {
		words []string // the last one is being completed
		want  []string
		all   bool // want is the whole answer
	}{
		"command":         {[]string{"underbond", "ins"}, []string{"inspect"}, true},
		"any command":     {[]string{"underbond", ""}, commandNames(t), true},
		"flag":            {[]string{"underbond", "inspect", "--po"}, []string{"--points"}, true},
		"flags":           {[]string{"underbond", "evaluate", "--"}, []string{"--help", "--json", "--worklist"}, false},
		"word":            {[]string{"underbond", "completion", "z"}, []string{"zsh"}, true},
		"files":           {[]string{"underbond", "inspect", ""}, nil, true}, // left to the shell
		"unknown command": {[]string{"underbond", "nonsense", "--"}, []string{"--help"}, true},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			quoted := make([]string, len(c.words))
			for i, word := range c.words {
				quoted[i] = "'" + word + "'"
			}
			out := bash(t, nil, script+"\nCOMP_WORDS=("+strings.Join(quoted, " ")+")\nCOMP_CWORD=$((${#COMP_WORDS[@]} - 1))\n_underbond\nprintf '%s\\n' \"${COMPREPLY[@]}\"\n")
			got := strings.Fields(out)
			slices.Sort(got)
			slices.Sort(c.want)
			if c.all && !slices.Equal(got, c.want) {
				t.Errorf("got %q, want %q", got, c.want)
			}
			for _, word := range c.want {
				if !slices.Contains(got, word) {
					t.Errorf("%s is not in %q", word, got)
				}
			}
		})
	}
	if out := bash(t, nil, script+"\ncomplete -p underbond\n"); strings.TrimSpace(out) != "complete -o default -F _underbond underbond" {
		t.Errorf("registered: %s", out)
	}
}
