// Package mangle damages bodies for tests of the readers: what a broken cache,
// a cut connection or a careless proxy may do to an answer.
package mangle

import (
	"bytes"
	"math/rand/v2"
	"regexp"
)

var number = regexp.MustCompile(`-?[0-9]+(\.[0-9]+)?`)

// Damage gives a copy of the body with one to three random faults.
func Damage(r *rand.Rand, body []byte) []byte {
	out := bytes.Clone(body)
	for range 1 + r.IntN(3) {
		if len(out) < 2 {
			return out
		}
		out = faults[r.IntN(len(faults))](r, out)
	}
	return out
}

var faults = []func(r *rand.Rand, b []byte) []byte{
	func(r *rand.Rand, b []byte) []byte { // a byte changed
		b[r.IntN(len(b))] = byte(r.IntN(256))
		return b
	},
	func(r *rand.Rand, b []byte) []byte { // cut short
		return b[:r.IntN(len(b))]
	},
	func(r *rand.Rand, b []byte) []byte { // a piece lost
		from, to := piece(r, len(b))
		return append(b[:from:from], b[to:]...)
	},
	func(r *rand.Rand, b []byte) []byte { // a piece sent twice
		from, to := piece(r, len(b))
		return append(append(b[:to:to], b[from:to]...), b[to:]...)
	},
	func(r *rand.Rand, b []byte) []byte { // a number replaced
		all := number.FindAllIndex(b, -1)
		if len(all) == 0 {
			return b
		}
		at := all[r.IntN(len(all))]
		with := []string{"null", "0", "-1", "1e9", `"calm"`, "true", "[]", "{}", "-999", "NaN", ""}[r.IntN(11)]
		return append(append(b[:at[0]:at[0]], with...), b[at[1]:]...)
	},
	func(r *rand.Rand, b []byte) []byte { // a name misspelt
		quotes := bytes.Count(b, []byte{'"'})
		if quotes == 0 {
			return b
		}
		at := 0
		for range 1 + r.IntN(quotes) {
			at += bytes.IndexByte(b[at:], '"') + 1
		}
		if at < len(b) {
			b[at] ^= 1
		}
		return b
	},
}

func piece(r *rand.Rand, length int) (from, to int) {
	from = r.IntN(length)
	return from, from + r.IntN(min(60, length-from)+1)
}
