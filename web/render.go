package web

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"html/template"
	"io"
	"io/fs"
	"path"
	"strings"
	"time"
)

//go:embed templates static
var files embed.FS

// Static holds the style sheet and scripts, to be served under /static/.
func Static() fs.FS {
	sub, err := fs.Sub(files, "static")
	if err != nil {
		panic(err) // the folder is embedded above: this cannot happen in a built binary
	}
	return sub
}

// Renderer writes pages. It is safe for use by several requests at once.
type Renderer struct {
	sets map[string]*template.Template
}

// New parses every page's templates: one set a page, each with the layout and
// the parts, so that a block of one page cannot show on another.
func New() (*Renderer, error) {
	assets, err := assetAddresses()
	if err != nil {
		return nil, err
	}
	funcs := functions(assets)
	pages, err := fs.Glob(files, "templates/pages/*.html")
	if err != nil {
		return nil, err
	}
	r := &Renderer{sets: map[string]*template.Template{}}
	for _, p := range pages {
		name := strings.TrimSuffix(path.Base(p), ".html")
		set, err := template.New("layout.html").Funcs(funcs).ParseFS(files, "templates/layout.html", "templates/parts/*.html", p)
		if err != nil {
			return nil, fmt.Errorf("reading the templates of page %s: %w", name, err)
		}
		r.sets[name] = set
	}
	return r, nil
}

// Render writes one page. It renders into memory first, so that a page that
// fails halfway sends nothing.
func (r *Renderer) Render(w io.Writer, page Page) error {
	set, ok := r.sets[page.template()]
	if !ok {
		return fmt.Errorf("no templates for page %s", page.template())
	}
	var b bytes.Buffer
	if err := set.Execute(&b, page); err != nil {
		return fmt.Errorf("rendering page %s: %w", page.template(), err)
	}
	_, err := b.WriteTo(w)
	return err
}

// assetAddresses gives each static file an address that changes with its
// content, so that it may be kept by browsers for ever.
func assetAddresses() (map[string]string, error) {
	addresses := map[string]string{}
	err := fs.WalkDir(Static(), ".", func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		body, err := fs.ReadFile(Static(), p)
		if err != nil {
			return err
		}
		sum := sha256.Sum256(body)
		addresses[p] = "/static/" + p + "?v=" + hex.EncodeToString(sum[:6])
		return nil
	})
	return addresses, err
}

func functions(assets map[string]string) template.FuncMap {
	return template.FuncMap{
		"asset": func(name string) (string, error) {
			a, ok := assets[name]
			if !ok {
				return "", fmt.Errorf("no static file %s", name)
			}
			return a, nil
		},
		"clock": clock,
		"stamp": stamp,
		"iso":   func(t time.Time) string { return t.Format(time.RFC3339) },
		"num":   number,
		"tel":   tel,
		// soft lets the longest stage break where a reader would break it.
		"soft": func(s string) string { return strings.ReplaceAll(s, "commissioning", "commis\u00adsioning") },
		"plural": func(n int, one, many string) string {
			if n == 1 {
				return fmt.Sprintf("%d %s", n, one)
			}
			return fmt.Sprintf("%d %s", n, many)
		},
		"upperfirst": upperFirst,
	}
}

// clock writes 07:15, or "not known" for a zero time.
func clock(t time.Time) string {
	if t.IsZero() {
		return "not known"
	}
	return t.Format("15:04")
}

// stamp writes Thu 3 Dec 07:15, or "not known" for a zero time.
func stamp(t time.Time) string {
	if t.IsZero() {
		return "not known"
	}
	return t.Format("Mon 2 Jan 15:04")
}

// tel makes a number that a phone can ring. Only digits and a leading plus are
// let through, so that nothing else can become an address.
func tel(number string) template.URL {
	var b strings.Builder
	for i, r := range number {
		if (r >= '0' && r <= '9') || (r == '+' && i == 0) {
			b.WriteRune(r)
		}
	}
	return template.URL("tel:" + b.String())
}
