package fault_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"toeboard/weather/fault"
)

func TestSentenceNamesFieldValueAndRemedy(t *testing.T) {
	err := fault.Bad("promised on", "31/31/2026", "write a date as 2026-12-31")
	for _, part := range []string{"promised on", "31/31/2026", "2026-12-31"} {
		if !strings.Contains(err.Error(), part) {
			t.Errorf("%q does not name %q", err, part)
		}
	}
}

func TestKindSurvivesWrapping(t *testing.T) {
	err := fmt.Errorf("publish the plan: %w", fault.Changed("plan", "3", "version 4 was published"))
	if got := fault.KindOf(err); got != fault.Conflict {
		t.Errorf("kind is %s, want conflict", got)
	}
	if got := fault.KindOf(errors.New("disk on fire")); got != fault.Internal {
		t.Errorf("an unclassified error is %s, want internal", got)
	}
}

func TestEachGivesEveryJoinedRefusal(t *testing.T) {
	err := errors.Join(fault.Bad("a", "1", "x"), fmt.Errorf("row 3: %w", fault.Bad("b", "2", "y")), errors.New("plain"))
	got := fault.Each(err)
	if len(got) != 2 || got[0].Field != "a" || got[1].Field != "b" {
		t.Errorf("got %v, want the refusals of a and b", got)
	}
}
