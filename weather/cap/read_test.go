package cap_test

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"toeboard/weather"
	"toeboard/weather/cap"
)

const folder = "../../testdata/weather/cap/"

func read(t *testing.T, name string) []weather.Bulletin {
	t.Helper()
	body, err := os.ReadFile(folder + name)
	if err != nil {
		t.Fatal(err)
	}
	list, err := cap.Read(body)
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return list
}

func at(text string) time.Time {
	t, err := time.Parse(time.RFC3339, text)
	if err != nil {
		panic(err)
	}
	return t
}

// The standard's worked example A.2, a severe thunderstorm warning: what it
// says, read off the document.
func TestThunderstormOfTheStandard(t *testing.T) {
	t.Parallel()
	b := read(t, "thunderstorm.cap")[0]
	if b.ID != "KSTO1055887203" || b.Sender != "KSTO@NWS.NOAA.GOV" || b.Status != weather.StatusActual || b.Kind != weather.KindAlert || !b.Sent.Equal(at("2003-06-17T14:57:00-07:00")) {
		t.Errorf("head: %+v", b)
	}
	if len(b.Warnings) != 1 {
		t.Fatalf("%d warnings, want one", len(b.Warnings))
	}
	w := b.Warnings[0]
	if w.Hazard != weather.HazardThunder || w.Severity != weather.SeveritySevere || !w.To.Equal(at("2003-06-17T16:00:00-07:00")) || w.Verdict() != weather.Stop {
		t.Errorf("warning: %+v", w)
	}
	// Inside the polygon of the example, and outside it.
	if !w.Covers(weather.Point{Lat: 38.48, Lon: -119.95}, nil) {
		t.Error("a point between its corners is covered")
	}
	if w.Covers(weather.Point{Lat: 38.3, Lon: -121.0}, nil) || w.Covers(weather.Point{Lat: 51.5, Lon: -0.1}, nil) {
		t.Error("points far outside are not covered")
	}
}

func TestTwoHazardsAndTwoLanguagesInOne(t *testing.T) {
	t.Parallel()
	b := read(t, "chmi_thunderstorm_multi_info.xml")[0]
	if len(b.Warnings) != 2 {
		t.Fatalf("%d warnings, want two: each hazard once, not once a language", len(b.Warnings))
	}
	wind, storm := b.Warnings[0], b.Warnings[1]
	if wind.Hazard != weather.HazardWind || wind.Severity != weather.SeverityMinor || wind.Language != "en-GB" {
		t.Errorf("wind: %+v", wind)
	}
	if storm.Hazard != weather.HazardThunder || storm.Severity != weather.SeveritySevere || storm.Event != "Severe Thunderstorms" {
		t.Errorf("storm: %+v", storm)
	}
	if !storm.From.Equal(at("2026-06-29T11:00:00+02:00")) || !storm.To.Equal(at("2026-06-30T00:00:00+02:00")) {
		t.Errorf("the storm's hours: %s to %s", storm.From, storm.To)
	}
	if !storm.Covers(weather.Point{Lat: 50, Lon: 14.5}, []string{"EMMA_ID:CZ02105"}) || storm.Covers(weather.Point{Lat: 50, Lon: 14.5}, []string{"EMMA_ID:CZ01100"}) {
		t.Error("its codes say where it holds")
	}
	if !storm.Covers(weather.Point{Lat: 50, Lon: 14.5}, []string{"NUTS3:CZ010"}) {
		t.Error("a point whose code of that kind nobody knows is not spared")
	}
}

func TestLevelsOfAwareness(t *testing.T) {
	t.Parallel()
	w := read(t, "meteireann_marine_wind.xml")[0].Warnings[0]
	if w.Hazard != weather.HazardWind || w.Severity != weather.SeverityModerate || w.Verdict() != weather.Caution {
		t.Errorf("yellow wind: %+v, %s", w, w.Verdict())
	}
	green := strings.Replace(fileText(t, "meteireann_marine_wind.xml"), "2; yellow; Moderate", "1; green; Minor", 1)
	if list, err := cap.Read([]byte(green)); err != nil || len(weather.InForce(list, at("2026-06-07T12:00:00Z"))) != 0 {
		t.Errorf("green is no warning: %v", err)
	}
}

// Every message of the collection is read whole or refused with the field at
// fault; what is missing never makes a warning milder.
func TestWholeAndBrokenMessages(t *testing.T) {
	t.Parallel()
	for name, want := range map[string]struct {
		bulletins int
		hazard    weather.Hazard
		severity  weather.Severity
		verdict   weather.Verdict
	}{
		"weather.cap":                     {1, weather.HazardRain, weather.SeveritySevere, weather.Stop}, // a flash flood
		"canada.cap":                      {1, weather.HazardThunder, weather.SeverityNone, weather.Go},  // all clear
		"canada_errors.cap":               {1, weather.HazardThunder, weather.SeverityNone, weather.Go},
		"australia.cap":                   {1, weather.HazardNone, weather.SeverityMinor, weather.Go}, // a fire
		"KAR0-0306112239-SW.cap":          {1, weather.HazardNone, weather.SeveritySevere, weather.Go},
		"cap_amber_alert_example.xml":     {1, weather.HazardNone, weather.SeveritySevere, weather.Go},
		"noaa_errors.cap":                 {1, weather.HazardNone, weather.SeverityUnknown, weather.Go}, // a flood
		"invalid.cap":                     {1, weather.HazardWind, weather.SeverityUnknown, weather.Stop},
		"nws_atom_feed_example.xml":       {163, weather.HazardWind, weather.SeveritySevere, weather.Stop},
		"nws_cap.2020-05-07T14_12_00.xml": {4, weather.HazardHeat, weather.SeverityModerate, weather.Caution},
	} {
		list := read(t, name)
		if len(list) != want.bulletins {
			t.Errorf("%s: %d bulletins, want %d", name, len(list), want.bulletins)
		}
		if len(list[0].Warnings) == 0 {
			t.Errorf("%s: no warnings", name)
			continue
		}
		if w := list[0].Warnings[0]; w.Hazard != want.hazard || w.Severity != want.severity || w.Verdict() != want.verdict {
			t.Errorf("%s: hazard %q severity %s verdict %s, want %+v", name, w.Hazard, w.Severity, w.Verdict(), want)
		}
	}
	if list := read(t, "no_optional_fields.cap"); len(list[0].Warnings) != 0 || len(list[0].Notes) != 1 {
		t.Errorf("an alert without info: %+v", list)
	}
	if _, err := cap.Read([]byte(fileText(t, "CAP-v1.2.xsd"))); err == nil {
		t.Error("a schema is no warning")
	}
}

func TestEntitiesAndDocumentTypesAreRefused(t *testing.T) {
	t.Parallel()
	bomb := `<?xml version="1.0"?><!DOCTYPE lolz [<!ENTITY lol "lol"><!ENTITY lol2 "&lol;&lol;&lol;&lol;">]><alert xmlns="urn:oasis:names:tc:emergency:cap:1.2"><identifier>&lol2;</identifier></alert>`
	file := `<!DOCTYPE alert SYSTEM "file:///etc/passwd"><alert xmlns="urn:oasis:names:tc:emergency:cap:1.2"/>`
	deep := strings.Repeat("<a>", 40) + strings.Repeat("</a>", 40)
	for name, body := range map[string]string{
		"a bomb": bomb, "a file": file, "deep": deep, "empty": "", "text": "hello", "cut short": `<alert xmlns="urn:oasis:names:tc:emergency:cap:1.2"><identifier>x`,
		"entity":  `<alert xmlns="urn:oasis:names:tc:emergency:cap:1.2"><identifier>&x;</identifier></alert>`,
		"large":   strings.Repeat(" ", cap.MostBytes) + "<alert/>",
		"no time": `<alert xmlns="urn:oasis:names:tc:emergency:cap:1.2"><identifier>x</identifier><sent>soon</sent></alert>`,
		"other":   `<alert xmlns="urn:example"><identifier>x</identifier></alert>`,
	} {
		if list, err := cap.Read([]byte(body)); err == nil {
			t.Errorf("%s was read as %v", name, list)
		}
	}
}

func TestReplacedCancelledAndOnlyMeantOnes(t *testing.T) {
	t.Parallel()
	message := func(id, sent, status, kind, references, severity string) weather.Bulletin {
		list, err := cap.Read([]byte(`<alert xmlns="urn:oasis:names:tc:emergency:cap:1.2"><identifier>` + id + `</identifier><sender>met@example.test</sender><sent>` + sent +
			`</sent><status>` + status + `</status><msgType>` + kind + `</msgType><scope>Public</scope><references>` + references + `</references>
			<info><category>Met</category><event>Wind</event><urgency>Expected</urgency><severity>` + severity + `</severity><certainty>Likely</certainty>
			<expires>2026-11-27T18:00:00-00:00</expires><area><areaDesc>here</areaDesc><circle>51.5,-0.1 20</circle></area></info></alert>`))
		if err != nil {
			t.Fatal(err)
		}
		return list[0]
	}
	now := at("2026-11-27T10:00:00Z")
	first := message("1", "2026-11-27T06:00:00+00:00", "Actual", "Alert", "", "Severe")
	ref := "met@example.test,1,2026-11-27T06:00:00+00:00"
	for name, c := range map[string]struct {
		also []weather.Bulletin
		want []weather.Severity
	}{
		"alone":                        {nil, []weather.Severity{weather.SeveritySevere}},
		"updated":                      {[]weather.Bulletin{message("2", "2026-11-27T08:00:00+00:00", "Actual", "Update", ref, "Moderate")}, []weather.Severity{weather.SeverityModerate}},
		"cancelled":                    {[]weather.Bulletin{message("2", "2026-11-27T08:00:00+00:00", "Actual", "Cancel", ref, "Minor")}, nil},
		"cancelled in test":            {[]weather.Bulletin{message("2", "2026-11-27T08:00:00+00:00", "Test", "Cancel", ref, "Minor")}, []weather.Severity{weather.SeveritySevere}},
		"an exercise":                  {[]weather.Bulletin{message("2", "2026-11-27T08:00:00+00:00", "Exercise", "Alert", "", "Extreme")}, []weather.Severity{weather.SeveritySevere}},
		"cancelled before it was sent": {[]weather.Bulletin{message("2", "2026-11-27T05:00:00+00:00", "Actual", "Cancel", ref, "Minor")}, []weather.Severity{weather.SeveritySevere}},
		"acknowledged":                 {[]weather.Bulletin{message("2", "2026-11-27T08:00:00+00:00", "Actual", "Ack", ref, "Minor")}, []weather.Severity{weather.SeveritySevere}},
	} {
		for _, list := range [][]weather.Bulletin{append([]weather.Bulletin{first}, c.also...), append(slices.Clone(c.also), first)} {
			var got []weather.Severity
			for _, w := range weather.InForce(list, now) {
				got = append(got, w.Severity)
			}
			if !slices.Equal(got, c.want) {
				t.Errorf("%s: in force %v, want %v", name, got, c.want)
			}
		}
	}
	if len(weather.InForce([]weather.Bulletin{first}, at("2026-11-27T18:00:00Z"))) != 0 {
		t.Error("it has expired")
	}
	stranger := message("2", "2026-11-27T08:00:00+00:00", "Actual", "Cancel", ref, "Minor")
	stranger.Sender = "somebody@example.test"
	if len(weather.InForce([]weather.Bulletin{first, stranger}, now)) != 1 {
		t.Error("nobody cancels another's warning")
	}
}

func fileText(t *testing.T, name string) string {
	t.Helper()
	body, err := os.ReadFile(folder + name)
	if err != nil {
		t.Fatal(err)
	}
	return string(body)
}

// FuzzRead: whatever the bytes, an answer or an error, and what is read can be
// asked.
func FuzzRead(f *testing.F) {
	files, err := filepath.Glob(folder + "*")
	if err != nil || len(files) < 10 {
		f.Fatalf("the collection is missing: %v, %v", files, err)
	}
	for _, name := range files {
		if body, err := os.ReadFile(name); err == nil && len(body) < 20_000 {
			f.Add(body)
		}
	}
	now := at("2026-11-27T10:00:00Z")
	f.Fuzz(func(t *testing.T, body []byte) {
		list, err := cap.Read(body)
		if err != nil {
			return
		}
		for _, w := range weather.InForce(list, now) {
			if w.Verdict() == weather.Go {
				t.Errorf("in force and yet go: %+v", w)
			}
			w.Covers(weather.Point{Lat: 51.5, Lon: -0.1}, nil)
		}
	})
}
