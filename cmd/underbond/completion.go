package main

import (
	"fmt"
	"strings"

	"github.com/alecthomas/kong"
)

type completionCommand struct {
	Shell string `arg:"" enum:"bash,zsh,fish" help:"bash, zsh or fish."`
}

// Run prints a script that completes commands and flags; files are left to the shell.
func (c *completionCommand) Run(io streams, model *kong.Application) error {
	var names []string
	flags := map[string][]string{}
	for _, command := range model.Leaves(true) {
		names = append(names, command.Name)
		for _, group := range command.AllFlags(true) {
			for _, f := range group {
				flags[command.Name] = append(flags[command.Name], "--"+f.Name)
			}
		}
	}
	var b strings.Builder
	switch c.Shell {
	case "bash":
		bashCompletion(&b, names, flags)
	case "zsh":
		b.WriteString("#compdef underbond\nautoload -U +X bashcompinit && bashcompinit\n")
		bashCompletion(&b, names, flags)
	default:
		for _, name := range names {
			fmt.Fprintf(&b, "complete -c underbond -n __fish_use_subcommand -a %s\n", name)
			for _, flag := range flags[name] {
				fmt.Fprintf(&b, "complete -c underbond -n '__fish_seen_subcommand_from %s' -l %s\n", name, strings.TrimPrefix(flag, "--"))
			}
		}
	}
	_, err := io.out.Write([]byte(b.String()))
	return err
}

func bashCompletion(b *strings.Builder, names []string, flags map[string][]string) {
	b.WriteString("_underbond() {\n  local cur=${COMP_WORDS[COMP_CWORD]}\n  if [ \"$COMP_CWORD\" -eq 1 ]; then\n")
	fmt.Fprintf(b, "    COMPREPLY=($(compgen -W \"%s --help\" -- \"$cur\")); return\n  fi\n  case \"${COMP_WORDS[1]}\" in\n", strings.Join(names, " "))
	for _, name := range names {
		fmt.Fprintf(b, "    %s) COMPREPLY=($(compgen -W \"%s\" -- \"$cur\")) ;;\n", name, strings.Join(flags[name], " "))
	}
	b.WriteString("  esac\n  [ ${#COMPREPLY[@]} -gt 0 ] || COMPREPLY=($(compgen -f -- \"$cur\"))\n}\ncomplete -o filenames -F _underbond underbond\n")
}
