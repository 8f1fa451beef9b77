package safety

import (
	"strings"
	"unicode"

	"golang.org/x/text/cases"
	"golang.org/x/text/unicode/norm"
)

// plainLetters writes the letters that do not come apart into a letter and a
// mark as people write them on a keyboard without them.
var plainLetters = strings.NewReplacer("ł", "l", "ø", "o", "đ", "d", "æ", "ae", "œ", "oe", "ı", "i")

// OwnName tells whether what somebody typed is a person's own name: capitals,
// accents, spaces, hyphens and apostrophes do not matter.
func OwnName(typed, name string) bool {
	t := foldedName(typed)
	return t != "" && t == foldedName(name)
}

func foldedName(s string) string {
	s = plainLetters.Replace(norm.NFKD.String(cases.Fold().String(s)))
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return r
		}
		return -1
	}, s)
}
