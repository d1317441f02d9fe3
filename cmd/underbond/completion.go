package main

import (
	"fmt"
	"strings"

	"github.com/alecthomas/kong"
)

type completionCommand struct {
	Shell string `arg:"" enum:"bash,zsh,fish" help:"bash, zsh or fish."`
}

// Run prints a script that completes commands, flags and words that are chosen from a
// list; files are left to the shell.
func (c *completionCommand) Run(io streams, model *kong.Application) error {
	var b strings.Builder
	switch c.Shell {
	case "bash":
		bashCompletion(&b, model)
	case "zsh":
		b.WriteString("#compdef underbond\nautoload -U +X bashcompinit && bashcompinit\n")
		bashCompletion(&b, model)
	default:
		fishCompletion(&b, model)
	}
	_, err := io.out.Write([]byte(b.String()))
	return err
}

// choices are the words that a command's arguments are chosen from.
func choices(command *kong.Node) []string {
	var words []string
	for _, argument := range command.Positional {
		if argument.Enum != "" {
			words = append(words, argument.EnumSlice()...)
		}
	}
	return words
}

func flagsOf(command *kong.Node) []*kong.Flag {
	var flags []*kong.Flag
	for _, group := range command.AllFlags(true) {
		flags = append(flags, group...)
	}
	return flags
}

func bashCompletion(b *strings.Builder, model *kong.Application) {
	var names []string
	var cases strings.Builder
	for _, command := range model.Leaves(true) {
		names = append(names, command.Name)
		var flags []string
		for _, f := range flagsOf(command) {
			flags = append(flags, "--"+f.Name)
		}
		fmt.Fprintf(&cases, "    %s) flags=\"%s\" words=\"%s\" ;;\n", command.Name, strings.Join(flags, " "), strings.Join(choices(command), " "))
	}
	fmt.Fprintf(b, `_underbond() {
  local cur="${COMP_WORDS[COMP_CWORD]}" flags="--help" words=""
  COMPREPLY=()
  if [ "$COMP_CWORD" -eq 1 ]; then
    words="%s"
  else
    case "${COMP_WORDS[1]}" in
%s    esac
  fi
  case "$cur" in
    -*) COMPREPLY=($(compgen -W "$flags" -- "$cur")) ;;
    *) COMPREPLY=($(compgen -W "$words" -- "$cur")) ;;
  esac
}
complete -o default -F _underbond underbond
`, strings.Join(names, " "), cases.String())
}

func fishCompletion(b *strings.Builder, model *kong.Application) {
	for _, command := range model.Leaves(true) {
		fmt.Fprintf(b, "complete -c underbond -n __fish_use_subcommand -f -a %s -d %s\n", command.Name, quoted(command.Help))
		within := fmt.Sprintf("complete -c underbond -n '__fish_seen_subcommand_from %s'", command.Name)
		for _, f := range flagsOf(command) {
			value := ""
			if !f.IsBool() {
				value = " -r"
			}
			fmt.Fprintf(b, "%s -l %s%s -d %s\n", within, f.Name, value, quoted(f.Help))
		}
		if words := choices(command); len(words) > 0 {
			fmt.Fprintf(b, "%s -f -a %s\n", within, quoted(strings.Join(words, " ")))
		}
	}
}

// quoted makes one word of fish.
func quoted(text string) string {
	return "'" + strings.NewReplacer(`\`, `\\`, "'", `\'`).Replace(text) + "'"
}
