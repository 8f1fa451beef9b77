// Package fault is the one error a caller can act on: what kind of refusal it
// is, which field, which value, and what would be right. Every room returns
// it; the edge turns it into a problem document, a page or a line of text.
//
// It stands beneath weather because weather is the one room all others may
// import.
package fault

import (
	"errors"
	"fmt"
	"strings"
)

// Kind tells a caller what it can do about a refusal.
type Kind int

// The kinds. The zero value is Internal: a fault nobody classified is ours,
// never the caller's.
const (
	Internal    Kind = iota // our failure; the text must not leave the service
	Invalid                 // the input is wrong; correct the field and try again
	NotFound                // no such thing, or not in this firm
	Conflict                // somebody changed it first; look again and decide
	Forbidden               // known person, not allowed
	Unsigned                // nobody is signed in
	Unavailable             // a thing we depend on cannot be reached now; try later
)

var kindNames = [...]string{"internal", "invalid", "not found", "conflict", "forbidden", "not signed in", "unavailable"}

// String names the kind in words.
func (k Kind) String() string {
	if k < 0 || int(k) >= len(kindNames) {
		return fmt.Sprintf("kind %d", int(k))
	}
	return kindNames[k]
}

// Error is one refusal. Field and Value may be empty when the refusal is not
// about one input; Want says in words what would be right.
type Error struct {
	Kind  Kind
	Field string // as the person who typed it knows it
	Value string // what was given, as given
	Want  string // what would be right, in words
	Err   error  // the cause, for the log
}

// Error writes the refusal as one sentence: field, value, remedy, cause.
func (e *Error) Error() string {
	var b strings.Builder
	switch {
	case e.Field != "" && e.Value != "":
		fmt.Fprintf(&b, "%s is %q", e.Field, e.Value)
	case e.Field != "":
		b.WriteString(e.Field)
	default:
		b.WriteString(e.Kind.String())
	}
	if e.Want != "" {
		b.WriteString(": ")
		b.WriteString(e.Want)
	}
	if e.Err != nil {
		fmt.Fprintf(&b, " (%v)", e.Err)
	}
	return b.String()
}

// Unwrap gives the cause.
func (e *Error) Unwrap() error { return e.Err }

// Bad says that a field's value is wrong and what would be right.
func Bad(field, value, want string) *Error {
	return &Error{Kind: Invalid, Field: field, Value: value, Want: want}
}

// Missing says that no such thing exists for this caller.
func Missing(what, value string) *Error {
	return &Error{Kind: NotFound, Field: what, Value: value, Want: "no such " + what + " here"}
}

// Changed says that somebody else changed what the caller relied on.
func Changed(what, value, now string) *Error {
	return &Error{Kind: Conflict, Field: what, Value: value, Want: now}
}

// KindOf gives the kind of the first Error in err's chain, Internal when there
// is none. A nil error is Internal too: ask only about errors.
func KindOf(err error) Kind {
	var e *Error
	if errors.As(err, &e) {
		return e.Kind
	}
	return Internal
}

// Each gives every Error joined into err, in order, so that a page can name
// all bad fields at once and not one after another.
func Each(err error) []*Error {
	if err == nil {
		return nil
	}
	if joined, ok := err.(interface{ Unwrap() []error }); ok {
		var all []*Error
		for _, one := range joined.Unwrap() {
			all = append(all, Each(one)...)
		}
		return all
	}
	var e *Error
	if errors.As(err, &e) {
		return []*Error{e}
	}
	return nil
}
