package main

import (
	"testing"
	"time"

	"toeboard/safety"
)

// The bench measures real work only when the mornings are what they are said to
// be: of each three, two are clear and one is not, for its own reason.
func TestTheInventedMorningsAreClearButForWhatTheyLack(t *testing.T) {
	t.Parallel()
	mornings, err := inventMornings(36)
	if err != nil {
		t.Fatal(err)
	}
	for i, m := range mornings {
		d := safety.Decide(m, m.StartAt.Add(10*time.Minute))
		if (d.Verdict == safety.Clear) != (i%3 != 2) {
			t.Errorf("morning %d is %s: %+v", i, d.Verdict, d.Holding())
		}
	}
}

// An export that the bench writes is proven, whatever the number of heads.
func TestTheInventedRecordIsProven(t *testing.T) {
	t.Parallel()
	for _, v := range []recordVerb{{Entries: 1, Nights: 1}, {Entries: 700, Nights: 13}} {
		if err := v.Run(out{t.Output(), t.Output()}); err != nil {
			t.Errorf("%+v: %v", v, err)
		}
	}
}
