package cap_test

import (
	"bytes"
	"math/rand/v2"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"toeboard/weather"
	"toeboard/weather/cap"
	"toeboard/weather/mangle"
)

// storm is a message, made up, that forbids outdoor work everywhere by three
// hazards at once and gives no end.
const storm = `<?xml version="1.0" encoding="UTF-8"?><alert xmlns="urn:oasis:names:tc:emergency:cap:1.2"><identifier>storm-1</identifier>
<sender>met@warnings.example</sender><sent>2026-11-27T06:00:00+00:00</sent><status>Actual</status><msgType>Alert</msgType><scope>Public</scope>
<info><language>en-GB</language><category>Met</category><event>Severe gale</event><urgency>Expected</urgency><severity>Extreme</severity><certainty>Likely</certainty></info>
<info><language>en-GB</language><category>Met</category><event>Thunderstorm</event><urgency>Expected</urgency><severity>Severe</severity><certainty>Likely</certainty></info>
<info><language>en-GB</language><category>Met</category><event>Heavy snow and ice</event><urgency>Expected</urgency><severity>Extreme</severity><certainty>Likely</certainty></info></alert>`

// calm is a forecast that lets everything run, so that only warnings speak.
func calm(now time.Time) weather.Series {
	m := weather.Member{}
	for i := range 48 {
		m.Hours = append(m.Hours, weather.Hour{From: now.Add(time.Duration(i-24) * time.Hour), Span: time.Hour, WindMean: weather.Is(1), WindGust: weather.Is(2), Rain: weather.Is(0),
			Temp: weather.Is(14), DewPoint: weather.Is(4), Humidity: weather.Is(50), Cloud: weather.Is(50), Thunder: weather.Is(0), Visibility: weather.Is(20_000)})
	}
	return weather.Series{Provider: "calm", FetchedAt: now, Members: []weather.Member{m}}
}

// misspell changes one to three letters of what stands between the elements.
func misspell(r *rand.Rand, body []byte) []byte {
	out := bytes.Clone(body)
	texts := between.FindAllIndex(out, -1)
	for range 1 + r.IntN(3) {
		at := texts[r.IntN(len(texts))]
		if i := at[0] + 1 + r.IntN(at[1]-at[0]-2); out[i] >= 'A' && out[i] <= 'z' {
			out[i] = byte('a' + r.IntN(26))
		}
	}
	return out
}

var between = regexp.MustCompile(`>[^<>\n]+<`)

// Two thousand damaged copies of a warning that stands, a thousand by the faults
// of mangle and a thousand misspelt: each is refused, so that
// what was warned of before goes on, or it still stops the work. None makes it
// go, none a caution.
func TestMangledWarningsNeverClearTheOneThatStood(t *testing.T) {
	t.Parallel()
	now := at("2026-11-27T10:00:00Z")
	series, limits := calm(now), weather.DefaultLimits()
	verdict := func(list []weather.Bulletin) weather.Judgement {
		return weather.Judge(series, limits, weather.Work{Place: weather.Place{Lat: 51.5, Lon: -0.1, Terrain: weather.TerrainIII, HeightM: 8}, Task: weather.ScaffoldErection,
			From: now, To: now.Add(2 * time.Hour), Loc: time.UTC, Now: now, Warnings: weather.InForce(list, now)})
	}
	if v := verdict(nil); v.Verdict != weather.Go {
		t.Fatalf("without a warning: %s", v.Sentence())
	}
	r := rand.New(rand.NewPCG(2026, 12))
	refused, stopped := 0, 0
	for i := range 2000 {
		damage := mangle.Damage
		if i%2 == 1 {
			damage = misspell
		}
		body := damage(r, []byte(storm))
		list, err := cap.Read(body)
		if err != nil {
			refused++ // RefreshWarnings keeps what was read before
			continue
		}
		if v := verdict(list); v.Verdict != weather.Stop && v.Verdict != weather.Unknown {
			t.Errorf("%s after\n%s", v.Sentence(), body)
		}
		stopped++
	}
	t.Logf("%d refused, %d still stop the work", refused, stopped)
	if refused < 100 || stopped < 100 {
		t.Errorf("%d refused and %d read: the damage shows little", refused, stopped)
	}
}

// A thousand damaged copies of each message of the collection are an answer or
// an error, and what is read can be asked.
func TestThousandMangledMessagesOfEachSortNeverPanic(t *testing.T) {
	t.Parallel()
	files, err := filepath.Glob(folder + "*.cap")
	if err != nil || len(files) < 8 {
		t.Fatalf("%v, %v", files, err)
	}
	files = append(files, folder+"chmi_thunderstorm_multi_info.xml", folder+"meteireann_marine_wind.xml", folder+"nws_cap.2020-05-07T14_12_00.xml")
	for _, file := range files {
		body := []byte(fileText(t, filepath.Base(file)))
		r := rand.New(rand.NewPCG(2026, 13))
		for range 1000 {
			list, err := cap.Read(mangle.Damage(r, body))
			if err != nil {
				continue
			}
			for _, b := range list {
				for _, w := range weather.InForce([]weather.Bulletin{b}, b.Sent) {
					if w.Verdict() == weather.Go {
						t.Fatalf("%s: in force and yet go: %+v", file, w)
					}
					w.Covers(weather.Point{Lat: 51.5, Lon: -0.1}, nil)
				}
			}
		}
	}
}

// Words that are none of the standard's warn as if they were left out: of all
// status, type and category words only those named switch a message off.
func TestBrokenWordsDoNotSwitchAWarningOff(t *testing.T) {
	t.Parallel()
	now := at("2026-11-27T10:00:00Z")
	for _, c := range []struct {
		of, with string
		counts   bool
	}{
		{"<status>Actual<", "<status>Actuel<", true}, {"<status>Actual<", "<status><", true}, {"<status>Actual<", "<status>Draft<", false}, {"<status>Actual<", "<status>System<", false},
		{"<msgType>Alert<", "<msgType>Alerb<", true}, {"<msgType>Alert<", "<msgType>Error<", false}, {"<msgType>Alert<", "<msgType>Ack<", false},
		{"<category>Met<", "<category>Mft<", true}, {"<category>Met<", "<category>Fire<", false},
	} {
		body := strings.ReplaceAll(storm, c.of, c.with)
		list, err := cap.Read([]byte(body))
		if err != nil {
			t.Fatalf("%s: %v", c.with, err)
		}
		if got := len(weather.InForce(list, now)) == 3; got != c.counts || !c.counts && len(weather.InForce(list, now)) != 0 {
			t.Errorf("%s: in force %v", c.with, weather.InForce(list, now))
		}
	}
}
