package api

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"toeboard/weather"
)

// bulletin is a CAP 1.2 message about an area, made up.
func bulletin(id, event, severity string, from, to time.Time, circle string) []byte {
	return fmt.Appendf(nil, `<alert xmlns="urn:oasis:names:tc:emergency:cap:1.2"><identifier>%s</identifier><sender>met@warnings.example</sender><sent>%s</sent>
		<status>Actual</status><msgType>Alert</msgType><scope>Public</scope><info><category>Met</category><event>%s</event><urgency>Expected</urgency>
		<severity>%s</severity><certainty>Likely</certainty><onset>%s</onset><expires>%s</expires><area><areaDesc>here</areaDesc><circle>%s</circle></area></info></alert>`,
		id, from.Add(-time.Hour).Format(time.RFC3339), event, severity, from.Format(time.RFC3339), to.Format(time.RFC3339), circle)
}

// A warning over the site tightens the morning; one elsewhere does not; a feed
// that cannot be read, or is not warnings, leaves what was warned of, which
// grows old: a caution after six hours, unknown after a day and when it was
// never read.
func TestOfficialWarningsTightenTheMorning(t *testing.T) {
	s := newScene(t)
	ctx := context.Background()
	sky := func() weather.Judgement {
		t.Helper()
		m, err := s.svc.Morning(ctx, s.firm, s.alder.ID, "Q-1", tuesday)
		must(t, err)
		return m.Snapshot.Weather
	}
	if v := sky().Verdict; v != weather.Go && v != weather.Caution {
		t.Fatalf("the morning to start from is %s", sky().Sentence())
	}
	before := sky().Verdict
	s.svc.warningFeeds = []string{"https://warnings.example/feed"}
	if v := sky(); v.Verdict != weather.Unknown || !strings.Contains(v.Sentence(), "official warnings could not be read") {
		t.Errorf("never read: %s", v.Sentence())
	}
	answer, failing := []byte(nil), error(nil)
	refresh := func() error {
		return s.svc.RefreshWarnings(ctx, s.firm, func(context.Context, string) ([]byte, error) { return answer, failing })
	}
	day := s.clock().Truncate(24 * time.Hour)
	here, elsewhere := "51.5,-0.1 30", "57.1,-2.1 30"
	answer = bulletin("1", "Thunderstorms", "Moderate", day.Add(8*time.Hour), day.Add(20*time.Hour), elsewhere)
	must(t, refresh())
	if v := sky(); v.Verdict != before {
		t.Errorf("a storm 600 km away: %s", v.Sentence())
	}
	answer = bulletin("2", "Thunderstorms", "Moderate", day.Add(8*time.Hour), day.Add(20*time.Hour), here)
	must(t, refresh())
	if v := sky(); v.Verdict != weather.Stop || !strings.Contains(v.Sentence(), "official warning of thunderstorm (Thunderstorms)") {
		t.Errorf("a storm here: %s", v.Sentence())
	}
	for name, c := range map[string]struct {
		body []byte
		err  error
	}{"no answer": {nil, errors.New("no route")}, "an error page": {[]byte("<html><body>sorry</body></html>"), nil}} {
		if answer, failing = c.body, c.err; refresh() == nil {
			t.Errorf("%s is no error", name)
		}
		if v := sky(); v.Verdict != weather.Stop {
			t.Errorf("after %s: %s", name, v.Sentence())
		}
	}
	answer, failing = bulletin("2", "Thunderstorms", "Moderate", day.Add(-48*time.Hour), day.Add(-40*time.Hour), here), nil
	must(t, refresh())
	s.setClock(s.clock().Add(7 * time.Hour))
	if v := sky(); !hasReason(v, "were last read 7 h ago", weather.Caution) {
		t.Errorf("after 7 hours: %v", v.Reasons)
	}
	s.setClock(s.clock().Add(18 * time.Hour))
	if v := sky(); !hasReason(v, "were last read 25 h ago", weather.Unknown) {
		t.Errorf("after 25 hours: %v", v.Reasons)
	}
}

func hasReason(j weather.Judgement, says string, verdict weather.Verdict) bool {
	for _, r := range j.Reasons {
		if r.Verdict == verdict && strings.Contains(r.Sentence(), says) {
			return true
		}
	}
	return false
}

// The firm's own record takes the place of the usual climate in the chances of
// the far weeks, and what was learnt shrinks those of the near ones.
func TestChancesRestOnTheFirmsExperience(t *testing.T) {
	s := newScene(t)
	ctx := context.Background()
	lesson, err := s.svc.Calibrate(ctx, s.firm, "Imogen", s.clock().AddDate(0, -1, 0))
	must(t, err)
	if lesson.Version != 0 || lesson.All.N != 0 {
		t.Errorf("learnt from nothing: %+v", lesson)
	}
	usual, _, err := s.svc.experience(ctx, s.firm)
	must(t, err)
	stormy := weather.Member{} // a year of gales: no half-day is workable
	for h := range 366 * 24 {
		stormy.Hours = append(stormy.Hours, weather.Hour{From: time.Date(2025, 1, 1, h, 0, 0, 0, time.UTC), Span: time.Hour, WindMean: weather.Is(20), WindGust: weather.Is(30),
			Rain: weather.Is(0), Temp: weather.Is(9), DewPoint: weather.Is(3), Cloud: weather.Is(50), Humidity: weather.Is(70), Thunder: weather.Is(0)})
	}
	version, rows, err := s.svc.SetClimate(ctx, s.firm, stormy, "a year of gales, invented", "Imogen")
	must(t, err)
	if version != 1 || len(rows) == 0 {
		t.Fatalf("version %d, %d rows", version, len(rows))
	}
	ours, _, err := s.svc.experience(ctx, s.firm)
	must(t, err)
	if ours.Of != "a year of gales, invented" || usual.Of == ours.Of {
		t.Errorf("the climate is of %q", ours.Of)
	}
	snap, err := s.svc.Snapshot(ctx, s.firm, 60)
	must(t, err)
	far := 0
	for _, o := range snap.Outlooks {
		c := o.Chances[len(o.Chances)-1]
		if !c.Known || c.P > 0.05 {
			t.Errorf("%s in the far weeks: %+v", o.Task, c)
		}
		far++
	}
	if far == 0 {
		t.Error("no outlook at all")
	}
	if _, _, err := s.svc.SetClimate(ctx, s.firm, stormy, " ", "Imogen"); err == nil {
		t.Error("a record from nowhere is taken")
	}
}

// A feed whose entries only name their messages: these are fetched once, kept,
// and fetched again when the entry changes; a message that cannot be had leaves
// its entry standing, and a cancel in another message clears what it names.
func TestWarningsBehindLinksAreFetched(t *testing.T) {
	s := newScene(t)
	ctx := context.Background()
	const feed = "https://warnings.example/feeds/all.atom"
	s.svc.warningFeeds = []string{feed}
	sky := func() weather.Judgement {
		t.Helper()
		m, err := s.svc.Morning(ctx, s.firm, s.alder.ID, "Q-1", tuesday)
		must(t, err)
		return m.Snapshot.Weather
	}
	before := sky()
	day := s.clock().Truncate(24 * time.Hour)
	entry := func(name string, updated time.Time) string {
		return fmt.Sprintf(`<entry><id>urn:%s</id><title>%s</title><updated>%s</updated><link type="application/cap+xml" href="/cap/%s.xml"/></entry>`, name, name, updated.Format(time.RFC3339), name)
	}
	entries, messages := entry("one", day), map[string][]byte{}
	asked := map[string]int{}
	refresh := func() error {
		return s.svc.RefreshWarnings(ctx, s.firm, func(_ context.Context, address string) ([]byte, error) {
			asked[address]++
			if address == feed {
				return []byte(`<feed xmlns="http://www.w3.org/2005/Atom"><id>urn:f</id>` + entries + `</feed>`), nil
			}
			if body, ok := messages[strings.TrimPrefix(address, "https://warnings.example/cap/")]; ok {
				return body, nil
			}
			return nil, errors.New("not found")
		})
	}
	if err := refresh(); err == nil || !strings.Contains(err.Error(), "cap/one.xml: not found") {
		t.Errorf("a message that is not there: %v", err)
	}
	if v := sky(); v.Verdict != weather.Stop || !strings.Contains(v.Sentence(), "severity not known") {
		t.Errorf("the entry alone: %s", v.Sentence())
	}
	messages["one.xml"] = bulletin("1", "Wind", "Moderate", day.Add(8*time.Hour), day.Add(20*time.Hour), "51.5,-0.1 30")
	must(t, refresh())
	if v := sky(); v.Verdict == weather.Stop || !hasReason(v, "official warning of wind (Wind)", weather.Caution) {
		t.Errorf("the message: %s", v.Sentence())
	}
	must(t, refresh())
	if asked["https://warnings.example/cap/one.xml"] != 2 {
		t.Errorf("asked for %v: a message that is kept is asked for again", asked)
	}
	messages["one.xml"] = bulletin("1", "Wind", "Extreme", day.Add(8*time.Hour), day.Add(20*time.Hour), "51.5,-0.1 30")
	s.setClock(s.clock().Add(10 * time.Minute))
	entries = entry("one", s.clock().Add(-time.Minute))
	must(t, refresh())
	if v := sky(); v.Verdict != weather.Stop {
		t.Errorf("changed: %s", v.Sentence())
	}
	cancel := strings.Replace(string(bulletin("2", "Wind", "Extreme", day.Add(9*time.Hour), day.Add(20*time.Hour), "51.5,-0.1 30")), "<msgType>Alert</msgType><scope>Public</scope>",
		"<msgType>Cancel</msgType><scope>Public</scope><references>met@warnings.example,1,"+day.Add(7*time.Hour).Format(time.RFC3339)+"</references>", 1)
	messages["two.xml"] = []byte(cancel)
	entries += entry("two", s.clock())
	must(t, refresh())
	if v := sky(); hasReason(v, "official warning", weather.Stop) || before.Verdict == weather.Go && v.Verdict == weather.Stop {
		t.Errorf("cancelled: %s", v.Sentence())
	}
}
