package api

import (
	"bytes"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"github.com/gin-gonic/gin"
)

// What comes from outside and is read here, beyond what the contract checks.

// FuzzOwnAddress: wherever "next" says, the browser stays on this site.
func FuzzOwnAddress(f *testing.F) {
	for _, s := range []string{"/jobs", "//evil.example", `/\evil.example`, "https://evil.example", "/%2f/evil", "/a?b=c#d", "\t//evil", "/\t/evil", "javascript:x", ""} {
		f.Add(s)
	}
	home, err := url.Parse("https://toeboard.example/sign-in")
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, next string) {
		got := ownAddress(next)
		if got == "" {
			return
		}
		// As a browser reads it: tabs and line breaks are dropped, a backslash is
		// a slash (WHATWG URL, 4.4).
		as := strings.NewReplacer("\t", "", "\n", "", "\r", "", `\`, "/").Replace(got)
		to, err := home.Parse(as)
		if err != nil || to.Host != home.Host || to.Scheme != home.Scheme {
			t.Errorf("%q leads to %v, %v", next, to, err)
		}
	})
}

// FuzzCanonical: writing JSON anew changes nothing the second time, and what is
// no JSON stays as it is.
func FuzzCanonical(f *testing.F) {
	for _, s := range []string{`{"b":1,"a":[1.0,2e3]}`, `{`, ``, `null`, `{"a":1}{"b":2}`, `9007199254740993`} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, body []byte) {
		once := canonical("application/json", body)
		if twice := canonical("application/json", once); !bytes.Equal(once, twice) {
			t.Errorf("%q becomes %q, then %q", body, once, twice)
		}
		if got := canonical("text/csv", body); !bytes.Equal(got, body) {
			t.Errorf("a file is changed: %q", got)
		}
	})
}

// FuzzHeld: a file comes back as it was held, and anything else is refused.
func FuzzHeld(f *testing.F) {
	f.Add("jobs.csv", []byte("reference\n1"), "x.y")
	f.Fuzz(func(t *testing.T, name string, content []byte, junk string) {
		gotName, got, err := release(hold(name, content))
		if err != nil || gotName != name || !bytes.Equal(got, content) {
			t.Errorf("%q %q come back as %q %q, %v", name, content, gotName, got, err)
		}
		if n, c, err := release(junk); err == nil && hold(n, c) != junk {
			// Padding may be written in more than one way; the content may not.
			if n2, c2, err := release(hold(n, c)); err != nil || n2 != n || !bytes.Equal(c2, c) {
				t.Errorf("%q is read as %q and %q", junk, n, c)
			}
		}
	})
}

// FuzzContract: whatever is sent to sign in, the answer is a refusal that says
// why, never a failure of ours.
func FuzzContract(f *testing.F) {
	k, err := readContract()
	if err != nil {
		f.Fatal(err)
	}
	gin.SetMode(gin.ReleaseMode)
	e := gin.New()
	var got error
	e.POST(apiBase+"/session", func(c *gin.Context) { got = k.check(c) })
	f.Add("application/json", []byte(`{"email":"a@b.example","password":"x"}`))
	f.Add("application/json", []byte(`{"email":1}`))
	f.Add("text/csv", []byte(`a;b`))
	f.Add("application/json; charset=utf-8", []byte("\xff\xfe"))
	f.Fuzz(func(t *testing.T, contentType string, body []byte) {
		r := httptest.NewRequest(http.MethodPost, apiBase+"/session", bytes.NewReader(body))
		r.Header.Set("Content-Type", contentType)
		e.ServeHTTP(httptest.NewRecorder(), r)
		if got == nil {
			return
		}
		if out := refusalOf(got); out.kind.status >= 500 || out.detail == "" {
			t.Errorf("%s %q: %d %q", contentType, body, out.kind.status, out.detail)
		}
	})
}
