package cap

import (
	"fmt"
	"strings"

	"toeboard/weather"
	"toeboard/weather/fault"
)

// entries reads a feed. An entry may hold a whole alert, or the alert's fields
// one by one, or only a link to it: then it is Listed, its Links say where, and
// until the message is fetched (linked.go) the entry itself warns.
func entries(feed *node) ([]weather.Bulletin, error) {
	var list []weather.Bulletin
	for i, e := range feed.all("entry") {
		b, err := entry(e)
		if err != nil {
			return nil, fmt.Errorf("entry %d: %w", i+1, err)
		}
		list = append(list, b)
	}
	return list, nil
}

func entry(e *node) (weather.Bulletin, error) {
	links := linksOf(e)
	for _, content := range append(e.all("content"), e) {
		for _, alert := range content.kids {
			if alert.is("alert") {
				b, err := bulletin(alert)
				b.Links, b.Entry = links, true
				return b, err
			}
		}
	}
	b := weather.Bulletin{ID: e.get("identifier"), Sender: e.get("sender"), Links: links, Entry: true, Listed: e.get("event") == "" && len(links) > 0}
	if b.ID == "" {
		b.ID = e.get("id")
	}
	if b.ID == "" {
		return b, fault.Bad("id", "", "the entry's own name (RFC 4287, 4.2.6)")
	}
	if b.Sender == "" {
		for _, a := range e.all("author") {
			b.Sender = a.get("name")
		}
	}
	for _, field := range []string{"sent", "updated", "published"} {
		if t, err := instant(e.get(field)); err == nil {
			b.Sent = t
			break
		}
	}
	if b.Sent.IsZero() {
		return b, fault.Bad("updated", e.get("updated"), "a time such as 2026-11-26T09:00:00+00:00")
	}
	b.Status, b.Kind = status(e.get("status")), kind(e.get("msgType"))
	if e.get("event") == "" && len(links) == 0 {
		b.Notes = append(b.Notes, "it says nothing of what it warns of")
		return b, nil
	}
	w := warning(e, &b)
	if d := e.get("areaDesc"); d != "" || len(e.all("polygon"))+len(e.all("circle"))+len(e.all("geocode")) > 0 {
		w.Areas = append(w.Areas, area(e, &b))
	}
	if w.Headline == "" {
		w.Headline = e.get("title")
	}
	if w.Event == "" {
		w.Event = e.get("title")
	}
	b.Warnings = []weather.Warning{w}
	return b, nil
}

// linksOf gives where an entry's message may be: what calls itself CAP, then what
// may be XML. Pages for people are left out.
func linksOf(e *node) []string {
	var named, others []string
	for _, l := range e.all("link") {
		href, rel, kind := "", "alternate", ""
		for _, a := range l.attr {
			switch a.Name.Local {
			case "href":
				href = a.Value
			case "rel":
				rel = a.Value
			case "type":
				kind, _, _ = strings.Cut(a.Value, ";")
			}
		}
		switch {
		case href == "" || rel != "alternate":
		case kind == "application/cap+xml":
			named = append(named, href)
		case kind == "" || strings.HasSuffix(kind, "/xml") || strings.HasSuffix(kind, "+xml") && kind != "application/xhtml+xml":
			others = append(others, href)
		}
	}
	return append(named, others...)
}
