package catalogue

import (
	"slices"
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"
)

// rulesVersion rises when Normalise changes what it gives, so that digests change too.
const rulesVersion = 1

// Normalise gives the form in which names are compared. Two spellings are the same
// name when they differ only in
//
//   - letter case, diacritics and Unicode compatibility forms (superscripts, full
//     width, no-break space, micro sign): "Méthanol" is "methanol", "δ¹³C" is "δ13C";
//   - Greek letters or their names: "β-damascenone" is "beta-damascenone";
//   - spaces, underscores, full stops, and dashes of any kind: "2-Methyl-1-propanol" is
//     "2 methyl 1 propanol" and "2-methyl-1-propanol". Between two digits they stay, as
//     one hyphen, so that 1-2 is never 12;
//   - comma or full stop between digits: "1,1-diethoxyethane" is "1.1-diethoxyethane";
//   - square, curly or round brackets, and the shape of the apostrophe or prime.
//
// A sign alone in brackets, (+), (−) or (±), stays. Nothing else is dropped: prefixes
// such as n-, iso-, sec-, tert-, cis-, o-, D- or N- belong to the name, and a name
// without its prefix is another name.
func Normalise(text string) string {
	text = strings.ToValidUTF8(text, "\uFFFD")
	text = settled(text)
	var letters []rune
	for _, r := range text {
		switch {
		case unicode.Is(unicode.Mn, r), unicode.Is(unicode.Cf, r):
		case unicode.Is(unicode.Pd, r), r == '−':
			letters = append(letters, '-')
		case unicode.IsSpace(r), r == '_', r == '·', r == '•':
			letters = append(letters, ' ')
		case r == '[', r == '{':
			letters = append(letters, '(')
		case r == ']', r == '}':
			letters = append(letters, ')')
		default:
			if name, ok := greek[r]; ok {
				letters = append(letters, []rune(name)...)
			} else {
				letters = append(letters, r)
			}
		}
	}
	return join(letters)
}

// settled unifies marks, folds letter case and decomposes, again and again: each gives characters that
// another changes once more. It ends where nothing changes, at the latest after a few
// rounds on text that no analyte is named by.
func settled(text string) string {
	for range 8 {
		next := norm.NFKD.String(strings.ToLower(strings.ToUpper(norm.NFKD.String(uniform.Replace(text)))))
		if next == text {
			break
		}
		text = next
	}
	return text
}

// join drops or unifies the separators between letters.
func join(letters []rune) string {
	var b strings.Builder
	for i := 0; i < len(letters); i++ {
		if !slices.Contains(separators, letters[i]) {
			b.WriteRune(letters[i])
			continue
		}
		end := i + 1
		for end < len(letters) && slices.Contains(separators, letters[end]) {
			end++
		}
		run := letters[i:end]
		if i > 0 && end < len(letters) {
			b.WriteString(between(letters[i-1], run, letters[end]))
		}
		i = end - 1
	}
	return b.String()
}

// between gives what a run of separators becomes.
func between(left rune, run []rune, right rune) string {
	digits := isDigit(left) && isDigit(right)
	switch {
	case left == '(' && right == ')' && len(run) == 1 && run[0] == '-':
		return "-"
	case slices.Contains(run, ','), digits && slices.Contains(run, '.'):
		return ","
	case digits:
		return "-"
	}
	return ""
}

func isDigit(r rune) bool { return r >= '0' && r <= '9' }

var separators = []rune{' ', '-', '.', ','}

// uniform is applied first, since decomposing an acute accent gives a space.
var uniform = strings.NewReplacer("´", "'", "`", "'", "’", "'", "‘", "'", "′", "'", "ʹ", "'", "ʼ", "'", "″", "''", "ß", "ss", "ẞ", "ss")

// greek names the letters after folding, which leaves small letters and no final sigma.
var greek = map[rune]string{
	'α': "alpha", 'β': "beta", 'γ': "gamma", 'δ': "delta", 'ε': "epsilon", 'ζ': "zeta",
	'η': "eta", 'θ': "theta", 'ι': "iota", 'κ': "kappa", 'λ': "lambda", 'μ': "mu",
	'ν': "nu", 'ξ': "xi", 'ο': "omicron", 'π': "pi", 'ρ': "rho", 'σ': "sigma",
	'ς': "sigma", 'τ': "tau", 'υ': "upsilon", 'φ': "phi", 'χ': "chi", 'ψ': "psi", 'ω': "omega",
}
