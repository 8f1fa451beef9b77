package web

import (
	"bytes"
	"fmt"
	"io/fs"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/PuerkitoBio/goquery"
)

func render(t *testing.T, p Page) *goquery.Document {
	t.Helper()
	var b bytes.Buffer
	if err := renderer(t).Render(&b, p); err != nil {
		t.Fatal(err)
	}
	doc, err := goquery.NewDocumentFromReader(&b)
	if err != nil {
		t.Fatal(err)
	}
	return doc
}

// every calls check for each sample page, full and empty.
func every(t *testing.T, check func(t *testing.T, p Page, doc *goquery.Document)) {
	t.Helper()
	for kind, pages := range map[string]map[string]Page{"full": samples(), "empty": empties()} {
		for name, p := range pages {
			t.Run(kind+"/"+name, func(t *testing.T) { check(t, p, render(t, p)) })
		}
	}
}

func TestEachPageAsksItsQuestionOnce(t *testing.T) {
	every(t, func(t *testing.T, p Page, doc *goquery.Document) {
		if h := doc.Find("h1"); h.Length() != 1 || h.Text() != p.Question() {
			t.Errorf("h1 is %q (%d of them), want the question %q once", h.Text(), h.Length(), p.Question())
		}
		title := doc.Find("title").Text()
		if !strings.Contains(title, p.Question()) {
			t.Errorf("title %q leaves out the question", title)
		}
		if strings.HasPrefix(title, "Error: ") != (len(p.sheet().Faults) > 0) {
			t.Errorf("title %q does not tell whether the form was refused", title)
		}
		if lang, _ := doc.Find("html").Attr("lang"); lang != "en-GB" {
			t.Errorf("lang is %q", lang)
		}
		if doc.Find("main#main").Length() != 1 || doc.Find("a.skip[href='#main']").Length() != 1 {
			t.Error("no skip link to the main part")
		}
		if !strings.Contains(doc.Find("footer").Text(), "does not replace local codes") {
			t.Error("the footer's caution is missing")
		}
		level := 1
		doc.Find("h1,h2,h3,h4").Each(func(_ int, h *goquery.Selection) {
			n := int(goquery.NodeName(h)[1] - '0')
			if n > level+1 {
				t.Errorf("heading %q jumps from level %d to %d", h.Text(), level, n)
			}
			if strings.TrimSpace(h.Text()) == "" {
				t.Error("a heading is empty")
			}
			level = n
		})
	})
}

// The service sends Content-Security-Policy: default-src 'self'. Anything that
// it would block must not be written in the first place.
// The body's class is the page's name. Where a part of a page is called alike, the
// rules for that part would lay out the whole page, or leave it out of print.
func TestNoPageIsCalledLikeAPart(t *testing.T) {
	pages, parts := map[string]bool{}, map[string]bool{}
	for _, all := range []map[string]Page{samples(), empties()} {
		for _, p := range all {
			doc := render(t, p)
			pages[doc.Find("body").AttrOr("class", "")] = true
			doc.Find("body [class]").Each(func(_ int, s *goquery.Selection) {
				for _, c := range strings.Fields(s.AttrOr("class", "")) {
					parts[c] = true
				}
			})
		}
	}
	for name := range pages {
		if name == "" || parts[name] {
			t.Errorf("a page and a part of a page are both called %q", name)
		}
	}
}

func TestNothingThatTheSecurityPolicyBlocks(t *testing.T) {
	every(t, func(t *testing.T, _ Page, doc *goquery.Document) { blocked(t, doc) })
}

func blocked(t *testing.T, doc *goquery.Document) {
	t.Helper()
	if doc.Find("style, iframe, object, embed, base").Length() > 0 {
		t.Error("a style, frame or base element")
	}
	doc.Find("script").Each(func(_ int, s *goquery.Selection) {
		if src, _ := s.Attr("src"); !strings.HasPrefix(src, "/static/") || strings.TrimSpace(s.Text()) != "" {
			t.Errorf("a script that is not one of ours: %q %q", src, s.Text())
		}
	})
	doc.Find("*").Each(func(_ int, s *goquery.Selection) {
		for _, a := range s.Nodes[0].Attr {
			v := strings.TrimSpace(strings.ToLower(a.Val))
			switch {
			case a.Key == "style" || strings.HasPrefix(a.Key, "on"):
				t.Errorf("<%s> has %s=%q", goquery.NodeName(s), a.Key, a.Val)
			case !slices.Contains([]string{"href", "src", "action", "formaction", "xlink:href"}, a.Key):
			case strings.HasPrefix(v, "tel:") && goquery.NodeName(s) == "a":
			case strings.Contains(v, ":") || strings.HasPrefix(v, "//") || strings.Contains(v, "zgotmplz"):
				t.Errorf("<%s> leads outside: %s=%q", goquery.NodeName(s), a.Key, a.Val)
			}
		}
	})
	if html, _ := doc.Html(); strings.Contains(html, "ZgotmplZ") {
		t.Error("a value was refused by the template's escaper")
	}
}

func TestStaticFilesThatPagesAskForExist(t *testing.T) {
	every(t, func(t *testing.T, _ Page, doc *goquery.Document) {
		n := 0
		doc.Find("[src^='/static/'], [href^='/static/']").Each(func(_ int, s *goquery.Selection) {
			n++
			addr := s.AttrOr("src", s.AttrOr("href", ""))
			name, version, _ := strings.Cut(strings.TrimPrefix(addr, "/static/"), "?v=")
			if _, err := fs.Stat(Static(), name); err != nil || len(version) != 12 {
				t.Errorf("%s: %v, version %q", addr, err, version)
			}
		})
		if n < 3 {
			t.Errorf("only %d static files asked for", n)
		}
	})
}

func TestFormsWorkWithoutScript(t *testing.T) {
	for name, p := range samples() {
		t.Run(name, func(t *testing.T) {
			doc := render(t, p)
			keys := map[string]bool{}
			doc.Find("form").Each(func(_ int, f *goquery.Selection) {
				if f.AttrOr("method", "") == "get" && f.AttrOr("action", "") != "" && f.Find("button").Length() == 1 {
					return // a question, which changes nothing and may be asked again
				}
				if f.AttrOr("method", "") != "post" || f.AttrOr("action", "") == "" {
					t.Errorf("form %s %q is no POST form", f.AttrOr("method", ""), f.AttrOr("action", ""))
				}
				key := f.Find("input[type=hidden][name=key]")
				if key.Length() != 1 || key.AttrOr("value", "") == "" {
					t.Errorf("form %q has no key", f.AttrOr("action", ""))
				}
				if v := key.AttrOr("value", ""); keys[v] {
					t.Errorf("two forms share the key %q, so the second would be answered as a repeat", v)
				} else {
					keys[v] = true
				}
				if f.Find("button").Length() != 1 {
					t.Errorf("form %q has %d buttons", f.AttrOr("action", ""), f.Find("button").Length())
				}
			})
			if n := doc.Find("button").Length(); n != doc.Find("form button").Length() {
				t.Error("a button outside a form does nothing without script")
			}
		})
	}
}

func TestFieldsSendWhatTheStructsSay(t *testing.T) {
	// Name of the form by its action's end, and the fields that the doc comments
	// of the page structs promise.
	for _, c := range []struct {
		page   Page
		action string
		want   string
	}{
		{samples()["signin"], "/sign-in", "key next email password"},
		{sampleImport(), "/import", "key file"},
		{sampleImport(), "/import/confirm", "key held"},
		{sampleWeek(), "/plans", "key"},
		{sampleProposal(), "/plans/15/publish", "key base"},
		{sampleProposal(), "/plans/15/drop", "key"},
		{sampleProposal(), "/plans", "key aim schedules"},
		{sampleRun(), "/plans/runs/3/stop", "key keep"},
		{sampleJob(), "/jobs/1042/scaffold-reports", "key kind kind for_whom location description on at risks action_taken further by_name by_position load_class design_ref lifts ties received_by result result"},
		{sampleJob(), "/jobs/1042/scaffold-events", "key what detail on at"},
		{sampleJob(), "/jobs/1042/progress", "key stage progress progress stage_on"},
		{sampleJob(), "/jobs/1042/consents", "key consent consent_state consent_state consent_state consent_state consent_on consent_stage"},
		{sampleJob(), "/jobs/1042/kit", "key item quantity kit_state kit_state kit_state kit_on"},
		{sampleJob(), "/jobs/1042/assessments/approve", "key assessment"},
		{sampleMorning(), "/morning/roof-a/1042/sign", "key person assessment hash shown device_at drawing pin"},
		{sampleMorning(), "/morning/roof-a/1042/stop", "key reason"},
		{sampleMorning(), "/morning/roof-a/1042/lift", "key stop why"},
		{sampleMorning(), "/morning/roof-a/1042/sky", "key sky sky sky_at"},
		{samples()["limits"], "/settings/limits", "key version task quantity caution stop hours source mark why"},
		{samples()["services"], "/settings/services", "key version service1 service2 together together why"},
		{samples()["weatherrecord"], "/weather/record", "key"},
		{sampleScaffold(), "/s/x/b3/confirm", "key"},
		{sampleScaffold(), "/s/x/b3/offer", "key on"},
		{sampleScaffold(), "/s/x/b5/erected", "key on"},
		{sampleScaffold(), "/s/x/b1/struck", "key on"},
	} {
		var got []string
		form := render(t, c.page).Find("form[action='" + c.action + "']").First()
		form.Find("input, select, textarea").Each(func(_ int, s *goquery.Selection) { got = append(got, s.AttrOr("name", "")) })
		if strings.Join(got, " ") != c.want {
			t.Errorf("%s sends %v, want %s", c.action, got, c.want)
		}
	}
}

func TestEveryFieldHasItsLabel(t *testing.T) {
	every(t, func(t *testing.T, _ Page, doc *goquery.Document) {
		ids := map[string]bool{}
		doc.Find("[id]").Each(func(_ int, s *goquery.Selection) {
			id := s.AttrOr("id", "")
			if ids[id] {
				t.Errorf("two elements are called %q", id)
			}
			ids[id] = true
		})
		doc.Find("input:not([type=hidden]), select, textarea").Each(func(_ int, s *goquery.Selection) {
			label := s.Closest("label").Text()
			if id := s.AttrOr("id", ""); id != "" {
				label += doc.Find("label[for='" + id + "']").Text()
			}
			if strings.TrimSpace(label) == "" {
				t.Errorf("%s %q has no label", goquery.NodeName(s), s.AttrOr("name", ""))
			}
		})
		doc.Find("input[type=radio]").Each(func(_ int, s *goquery.Selection) {
			if strings.TrimSpace(s.Closest("fieldset").Find("legend").Text()) == "" && s.AttrOr("name", "") != "check_x" {
				t.Errorf("choice %q belongs to no named group", s.AttrOr("name", ""))
			}
		})
		doc.Find("a[href^='#'], use").Each(func(_ int, s *goquery.Selection) {
			if to := strings.TrimPrefix(s.AttrOr("href", "#main"), "#"); !ids[to] {
				t.Errorf("%q leads to nothing", to)
			}
		})
		doc.Find("[aria-labelledby], [aria-describedby]").Each(func(_ int, s *goquery.Selection) {
			for _, id := range strings.Fields(s.AttrOr("aria-labelledby", "") + " " + s.AttrOr("aria-describedby", "")) {
				if !ids[id] {
					t.Errorf("%s is named by %q, which is not there", goquery.NodeName(s), id)
				}
			}
		})
		doc.Find("table").Each(func(_ int, s *goquery.Selection) {
			if s.Find("th[scope]").Length() == 0 || s.Find("th:not([scope])").Length() > 0 {
				t.Error("a table whose heads do not say what they head")
			}
		})
		doc.Find("svg").Each(func(_ int, s *goquery.Selection) {
			if s.ParentsFiltered("svg").Length() == 0 && s.AttrOr("aria-hidden", "") != "true" && s.AttrOr("role", "") != "img" {
				t.Error("a drawing that is neither hidden from readers nor named for them")
			}
		})
		doc.Find("a").Each(func(_ int, s *goquery.Selection) {
			if strings.TrimSpace(s.Text()) == "" && s.AttrOr("href", "") != "" {
				t.Errorf("a link to %q without words", s.AttrOr("href", ""))
			}
		})
	})
}

func TestWhatIsWrongStandsAtTopAndBesideTheField(t *testing.T) {
	n := 0
	for name, p := range samples() {
		faults := p.sheet().Faults
		if len(faults) == 0 {
			continue
		}
		doc := render(t, p)
		for _, f := range faults {
			n++
			if !strings.Contains(doc.Find(".faults").Text(), f.Say) {
				t.Errorf("%s: %q is not in the list at the top", name, f.Say)
			}
			if f.Field == "" {
				continue
			}
			if doc.Find(".faults a[href='#f-"+f.Field+"']").Text() != f.Say {
				t.Errorf("%s: the list does not lead to %q", name, f.Field)
			}
			field := doc.Find("[id='f-" + f.Field + "']")
			if by := field.AttrOr("aria-describedby", ""); doc.Find("[id='"+by+"']").Text() != f.Say {
				t.Errorf("%s: %q does not stand beside its field", name, f.Say)
			}
			if d := field.Closest("details"); d.Length() > 0 {
				if _, open := d.Attr("open"); !open {
					t.Errorf("%s: the form with %q is folded away", name, f.Field)
				}
			}
		}
	}
	if n < 12 {
		t.Errorf("only %d faults looked at", n)
	}
}

func TestKeysOfSeveralBookingsDiffer(t *testing.T) {
	p := sampleScaffold()
	for i := range p.Bookings {
		p.Bookings[i].ConfirmAction, p.Bookings[i].OfferAction = "/c", "/o"
		p.Bookings[i].ErectedAction, p.Bookings[i].StruckAction = "/e", "/s"
		p.Bookings[i].RefuseAction, p.Bookings[i].CertificateAction = "/r", "/f"
	}
	keys := map[string]bool{}
	n := render(t, p).Find("input[name=key]").Each(func(_ int, s *goquery.Selection) { keys[s.AttrOr("value", "")] = true }).Length()
	if n != 30 || len(keys) != n {
		t.Errorf("%d keys for %d forms", len(keys), n)
	}
}

func TestBadFileCannotBeTaken(t *testing.T) {
	if render(t, sampleImport()).Find("form[action='/import/confirm']").Length() != 1 {
		t.Error("a good file cannot be taken")
	}
	doc := render(t, sampleBadImport())
	if doc.Find("form[action='/import/confirm']").Length() != 0 {
		t.Error("a file with bad rows can be taken")
	}
	for _, want := range []string{"line 3", "promised_on", "31/11/2026", "a date that exists", "line 9"} {
		if !strings.Contains(doc.Find("main").Text(), want) {
			t.Errorf("%q is not named", want)
		}
	}
}

func TestAttributesWrittenAsTheyAreHoldPlainNames(t *testing.T) {
	evil := `x" onfocus="alert(1)`
	s := Sheet{Faults: []Fault{{evil, "no"}, {"name-p3", "type it"}}}
	if s.Invalid(evil) != "" || s.Described(evil) != "" {
		t.Error("a field's name became markup")
	}
	if s.Invalid("name-p3") != `aria-invalid="true" aria-describedby="fault-name-p3"` || s.Invalid("other") != "" {
		t.Errorf("%q", s.Invalid("name-p3"))
	}
}

// hostile puts a payload into every string of a page, as if a customer, a file
// or a forecast had brought it.
func hostile(v reflect.Value, payload string) {
	switch v.Kind() {
	case reflect.String:
		if v.CanSet() {
			v.SetString(payload)
		}
	case reflect.Struct:
		if v.Type().PkgPath() == "time" {
			return
		}
		for i := range v.NumField() {
			hostile(v.Field(i), payload)
		}
	case reflect.Slice:
		for i := range v.Len() {
			hostile(v.Index(i), payload)
		}
	case reflect.Pointer:
		if !v.IsNil() {
			hostile(v.Elem(), payload)
		}
	}
}

func TestHostileTextStaysText(t *testing.T) {
	for _, payload := range []string{
		`"><script>alert(1)</script><b onmouseover=alert(1) x="`,
		`javascript:alert(1)`,
		`' onfocus='alert(1)' autofocus='`,
		`</svg></table><style>*{display:none}</style>`,
		`//elsewhere.example/x`,
	} {
		for name, p := range samples() {
			t.Run(name, func(t *testing.T) {
				v := reflect.New(reflect.TypeOf(p)).Elem()
				v.Set(reflect.ValueOf(p))
				hostile(v, payload)
				doc := render(t, v.Interface().(Page))
				doc.Find("script").Each(func(_ int, script *goquery.Selection) {
					if src, _ := script.Attr("src"); !strings.HasPrefix(src, "/static/") || script.Text() != "" {
						t.Errorf("a script that is not ours: %q %q", src, script.Text())
					}
				})
				if doc.Find("style, [onmouseover], [onfocus], [autofocus]").Length() > 0 {
					t.Error("text became markup")
				}
				doc.Find("[href], [action]").Each(func(_ int, s *goquery.Selection) {
					for _, k := range []string{"href", "action"} {
						if v := s.AttrOr(k, ""); strings.HasPrefix(strings.TrimSpace(strings.ToLower(v)), "javascript:") {
							t.Errorf("%s=%q", k, v)
						}
					}
				})
			})
		}
	}
}

func TestTelephoneLinksHoldDigitsOnly(t *testing.T) {
	for in, want := range map[string]string{
		"01632 960 115": "tel:01632960115", "+44 (0)1632 960115": "tel:+4401632960115", "javascript:alert(1)": "tel:1", "": "tel:",
	} {
		if got := string(tel(in)); got != want {
			t.Errorf("tel(%q) = %q, want %q", in, got, want)
		}
	}
}

func TestScriptsAndStylesKeepToThemselves(t *testing.T) {
	for file, forbidden := range map[string][]string{
		"board.css": {"@import", "url(", "http:", "https:", "expression("},
		"once.js":   {"innerHTML", "eval(", "http:", "https:"},
		"age.js":    {"innerHTML", "eval(", "http:", "https:"},
		"faults.js": {"innerHTML", "eval(", "http:", "https:"},
		"device.js": {"innerHTML", "eval(", "http:", "https:"},
		"sign.js":   {"innerHTML", "eval(", "http:", "https:"},
		"scan.js":   {"innerHTML", "eval(", "http:", "https:", "fetch"},
		"run.js":    {"innerHTML", "eval(", "http:", "https:"},
		"tell.js":   {"innerHTML", "eval(", "http:", "https:"},
		"told.js":   {"innerHTML", "eval(", "http:", "https:", "fetch"},
		"unsent.js": {"innerHTML", "eval(", "http:", "https:", "fetch", "localStorage"},
	} {
		body, err := fs.ReadFile(Static(), file)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range forbidden {
			if bytes.Contains(body, []byte(f)) {
				t.Errorf("%s contains %s", file, f)
			}
		}
	}
	var names []string
	entries, err := fs.ReadDir(Static(), ".")
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		names = append(names, e.Name())
	}
	if got := fmt.Sprint(names); got != "[age.js board.css device.js faults.js mark.svg once.js run.js scan.js sign.js tell.js told.js unsent.js]" {
		t.Errorf("static files are %s: a new one wants a check here", got)
	}
}
