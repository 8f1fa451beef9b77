package weather

import (
	"fmt"
	"slices"
	"time"
)

// ThunderWait is how long after the last thunder or flash nobody goes back
// (guidance of weather services: 30 minutes after the last thunder).
const ThunderWait = 30 * time.Minute

// Thunder is what the log of flashes and thunder says at an instant: a logged
// one starts the clock, each new one restarts it.
type Thunder struct {
	Stop  bool
	Last  time.Time // UTC; of the last one logged, zero = none
	Until time.Time // UTC; from when work may go on, as far as thunder is concerned
}

// ThunderAt reads a log of flashes and thunder at an instant. One that is
// logged for a later instant counts too: some clock is wrong, and none of them
// says that the storm has passed.
func ThunderAt(log []time.Time, now time.Time) Thunder {
	if len(log) == 0 {
		return Thunder{}
	}
	t := Thunder{Last: slices.MaxFunc(log, time.Time.Compare).UTC()}
	t.Until = t.Last.Add(ThunderWait)
	t.Stop = now.Before(t.Until)
	return t
}

// Sentence says what the log means for the crew, with times of a zone.
func (t Thunder) Sentence(loc *time.Location) string {
	switch {
	case t.Last.IsZero():
		return "no thunder or flash is logged"
	case t.Stop:
		return fmt.Sprintf("thunder or a flash at %s: off the roof until %s, 30 minutes after the last one", t.Last.In(loc).Format("15:04"), t.Until.In(loc).Format("15:04"))
	}
	return fmt.Sprintf("the last thunder or flash was at %s, over 30 minutes ago", t.Last.In(loc).Format("15:04"))
}
