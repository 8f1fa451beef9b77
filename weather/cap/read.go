// Package cap reads official warnings in the Common Alerting Protocol (OASIS
// CAP 1.2, and its forerunner 1.1), as single messages and as Atom feeds (RFC
// 4287) that list them or only name them. It fetches nothing: linked.go says what
// may be fetched.
//
// A warning can only tighten what a crew may do, so the reader keeps what it
// can: a field that is missing or odd is noted, and the warning counts all the
// same. What is no message at all, carries a document type (and with it
// entities), or is larger than any warning, is an error.
package cap

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"toeboard/weather"
	"toeboard/weather/fault"
)

// Limits of what is read. A national feed of a stormy day has some hundred
// kilobytes; the rest is room.
const (
	MostBytes = 16 << 20
	mostDepth = 32
	mostNodes = 500_000
)

// The namespaces. Elements of any other are passed over.
const (
	cap12 = "urn:oasis:names:tc:emergency:cap:1.2"
	cap11 = "urn:oasis:names:tc:emergency:cap:1.1"
	atom  = "http://www.w3.org/2005/Atom"
)

// node is one element, as far as it is read.
type node struct {
	space, name string
	attr        []xml.Attr
	text        strings.Builder
	kids        []*node
}

// Read gives the bulletins of a CAP message or of an Atom feed of them, in the
// order in which they stand. A feed without entries gives none and no error:
// nothing is warned of.
func Read(body []byte) ([]weather.Bulletin, error) {
	root, err := parse(body)
	if err != nil {
		return nil, &fault.Error{Kind: fault.Invalid, Field: "warning", Want: "a CAP 1.2 message or an Atom feed of them", Err: err}
	}
	switch {
	case root.is("alert"):
		b, err := bulletin(root)
		if err != nil {
			return nil, err
		}
		return []weather.Bulletin{b}, nil
	case root.space == atom && root.name == "feed":
		return entries(root)
	default:
		return nil, fault.Bad("warning", root.name+" in "+strconv.Quote(root.space), "an alert of CAP 1.1 or 1.2, or an Atom feed")
	}
}

// parse reads the elements. A document type is refused whatever it says: with
// it come entities, and with them documents that grow without end or reach for
// files. No CAP message needs one.
func parse(body []byte) (*node, error) {
	if len(body) > MostBytes {
		return nil, fmt.Errorf("%d bytes, and at most %d are read", len(body), MostBytes)
	}
	d := xml.NewDecoder(bytes.NewReader(body))
	d.CharsetReader = func(charset string, _ io.Reader) (io.Reader, error) {
		return nil, fmt.Errorf("the text is in %q, and only UTF-8 is read", charset)
	}
	var root *node
	var open []*node
	for count := 0; ; {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, err
		}
		switch t := token.(type) {
		case xml.Directive:
			return nil, errors.New("it carries a document type, which is refused")
		case xml.StartElement:
			if count++; count > mostNodes || len(open) >= mostDepth {
				return nil, fmt.Errorf("more than %d elements or %d levels", mostNodes, mostDepth)
			}
			n := &node{space: t.Name.Space, name: t.Name.Local, attr: t.Attr}
			switch {
			case len(open) > 0:
				open[len(open)-1].kids = append(open[len(open)-1].kids, n)
			case root != nil:
				return nil, errors.New("two documents in one")
			default:
				root = n
			}
			open = append(open, n)
		case xml.EndElement:
			open = open[:len(open)-1]
		case xml.CharData:
			if len(open) > 0 {
				open[len(open)-1].text.Write(t)
			}
		}
	}
	if root == nil {
		return nil, errors.New("there is no element in it")
	}
	return root, nil
}

// is tells whether a node is an element of CAP. Children of a feed's entry are
// sometimes written without their namespace.
func (n *node) is(name string) bool {
	return n.name == name && (n.space == cap12 || n.space == cap11)
}

func (n *node) all(name string) (list []*node) {
	for _, k := range n.kids {
		if k.name == name && k.space != "http://www.w3.org/2000/09/xmldsig#" {
			list = append(list, k)
		}
	}
	return list
}

// get gives the text of the first child of a name, "" = none.
func (n *node) get(name string) string {
	for _, k := range n.all(name) {
		return strings.TrimSpace(k.text.String())
	}
	return ""
}

// bulletin reads one alert. Without an identifier nothing could ever replace
// it, and without the time of sending its age is not known: both are errors.
func bulletin(n *node) (weather.Bulletin, error) {
	b := weather.Bulletin{ID: n.get("identifier"), Sender: n.get("sender")}
	if b.ID == "" {
		return b, fault.Bad("identifier", "", "the message's own name (CAP 1.2, 3.2.1)")
	}
	var err error
	if b.Sent, err = instant(n.get("sent")); err != nil {
		return b, fault.Bad("sent", n.get("sent"), "a time such as 2026-11-26T09:00:00+00:00")
	}
	b.Status, b.Kind = status(n.get("status")), kind(n.get("msgType"))
	for _, r := range strings.Fields(n.get("references")) {
		parts := strings.Split(r, ",")
		if len(parts) != 3 {
			b.Notes = append(b.Notes, fmt.Sprintf("reference %q is not sender,identifier,sent and is passed over: what it meant stays in force", r))
			continue
		}
		b.References = append(b.References, weather.Reference{Sender: parts[0], ID: parts[1]})
	}
	infos := n.all("info")
	for _, info := range infos {
		b.Warnings = append(b.Warnings, warning(info, &b))
	}
	b.Warnings = withoutTranslations(b.Warnings)
	if len(infos) == 0 && b.Kind != weather.KindCancel {
		b.Notes = append(b.Notes, "it says nothing of what it warns of")
	}
	return b, nil
}
