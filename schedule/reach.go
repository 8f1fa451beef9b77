package schedule

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"toeboard/weather"
)

// mostReachKm bounds how far a scaffold firm may be said to go [km].
const mostReachKm = 1000

// kmTo is how far a site is from the scaffold firm's yard [km], along the great
// circle (weather.Point.KmTo).
func (f *ScaffoldFirm) kmTo(site weather.Point) float64 {
	return weather.Point{Lat: f.YardLat, Lon: f.YardLon}.KmTo(site)
}

// GoesTo tells whether a site lies within the scaffold firm's area; one without
// an area goes anywhere.
func (f *ScaffoldFirm) GoesTo(site weather.Point) bool {
	return f.ReachKm == 0 || f.kmTo(site) <= float64(f.ReachKm)
}

// tooFar says that a site lies outside the scaffold firm's area.
func (f *ScaffoldFirm) tooFar(site weather.Point) string {
	return sayTooFar(f.Name, f.kmAway(site), fmt.Sprint(f.ReachKm))
}

// kmAway writes the distance of a site outside the area, so that it never reads
// like one inside: whole kilometres, or with one decimal, rounded up.
func (f *ScaffoldFirm) kmAway(site weather.Point) string {
	km := f.kmTo(site)
	if math.Round(km) > float64(f.ReachKm) {
		return fmt.Sprintf("%.0f", km)
	}
	return strconv.FormatFloat(math.Ceil(10*km)/10, 'f', 1, 64)
}

func sayTooFar(firm, away, reach string) string {
	return fmt.Sprintf("%s's yard is %s km away, it goes %s km", firm, away, reach)
}

// serves tells whether a scaffold firm comes to a job: the site lies in its
// area, or it said itself that it comes, by confirming the booking or offering
// another day.
func (f *facts) serves(w *work, firm int) bool {
	s, b := f.firms[firm], w.booking
	said := b != nil && (b.State == BookingConfirmed || b.State == BookingCountered) && b.ScaffoldFirm == s.ID
	return said || s.GoesTo(siteOf(w.job))
}

// nobodyServes says why no scaffold firm can be asked for a job.
func (f *facts) nobodyServes(w *work) string {
	var far []string
	for i, s := range f.firms {
		if s.Active && !f.serves(w, i) {
			far = append(far, s.tooFar(siteOf(w.job)))
		}
	}
	switch n := len(far); {
	case n == 0:
		return "There is no scaffold firm to ask."
	case n > 3:
		far = append(far[:3:3], fmt.Sprintf("%d more do not go there either", n-3))
	}
	return "No scaffold firm goes there: " + strings.Join(far, "; ") + "."
}

// pinnedTooFar says that a pin asks for a scaffold firm that does not go to the
// job; "" = none does.
func (f *facts) pinnedTooFar(w *work) string {
	for _, p := range w.pins {
		i := f.firm(p.Who)
		if p.Kind == PinBy && p.Stage.Trade() == ScaffoldTrade && i >= 0 && !f.serves(w, i) {
			return f.firms[i].tooFar(siteOf(w.job))
		}
	}
	return ""
}

// beyondReach lists the scaffold firms in use whose area a job lies outside.
func (f *facts) beyondReach(w *work) (list []int) {
	for i, s := range f.firms {
		if s.Active && !slices.Contains(f.firmsFor(w), i) && !f.serves(w, i) {
			list = append(list, i)
		}
	}
	return list
}
