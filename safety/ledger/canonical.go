package ledger

import (
	"fmt"
	"math"
	"math/big"
	"strconv"

	"github.com/go-json-experiment/json/jsontext"
)

// Canonical brings a JSON text to the one form that is hashed: RFC 8785, members
// sorted, numbers as ECMAScript writes them, no white space. A name that stands
// twice, broken UTF-8 and a number that a double cannot hold exactly are errors:
// two different records must never have the same bytes.
func Canonical(text []byte) ([]byte, error) {
	if err := exactNumbers(text); err != nil {
		return nil, err
	}
	v := jsontext.Value(append([]byte(nil), text...))
	if err := v.Canonicalize(); err != nil {
		return nil, fmt.Errorf("bring the record to its canonical form: %w", err)
	}
	return v, nil
}

// exactNumbers refuses numbers that would change their value on the way through
// a double. What is compared are decimals: 0.1 is exact, though no double is one
// tenth, because it is what the nearest double is written as.
func exactNumbers(text []byte) error {
	d := jsontext.NewDecoder(newReader(text))
	for {
		t, err := d.ReadToken()
		if err != nil {
			if isEnd(err) {
				return nil
			}
			return fmt.Errorf("read the record: %w", err)
		}
		if t.Kind() != '0' {
			continue
		}
		if literal := t.String(); !exact(literal) {
			return fmt.Errorf("the number %.40s has more digits than JSON readers keep", literal)
		}
	}
}

func exact(literal string) bool {
	f, err := strconv.ParseFloat(literal, 64)
	if err != nil || math.IsInf(f, 0) || len(literal) > 400 {
		return false
	}
	if f == 0 { // so small that it became nothing
		given, ok := new(big.Rat).SetString(literal)
		return ok && given.Sign() == 0
	}
	given, ok := new(big.Rat).SetString(literal)
	kept, _ := new(big.Rat).SetString(strconv.FormatFloat(f, 'g', -1, 64))
	return ok && given.Cmp(kept) == 0
}
