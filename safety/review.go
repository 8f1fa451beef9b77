package safety

import (
	"time"

	"toeboard/weather/civil"
)

// ReviewDue tells whether an assessment is too old on a day for a crew to start
// by (condition B05), however little its facts changed; loc is the firm's zone.
// One whose making is not known is.
func (a AssessmentInForce) ReviewDue(day civil.Date, loc *time.Location) bool {
	return a.MadeAt.IsZero() || day > civil.DateOf(a.MadeAt, loc)+reviewAfter
}
