package main

import (
	"context"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"toeboard/weather"
	"toeboard/weather/cap"
)

// A warning service that asks for peace gets it: no request goes out before
// the time that it named, and the next one after it.
func TestWarningServiceIsAskedPolitely(t *testing.T) {
	t.Parallel()
	clock := time.Date(2026, 11, 26, 6, 0, 0, 0, time.UTC)
	asked, busy := 0, true
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		asked++
		if r.Header.Get("User-Agent") != "toeboard/"+version+" office@firm.example" {
			t.Errorf("asked as %q", r.Header.Get("User-Agent"))
		}
		if busy {
			w.Header().Set("Retry-After", "600")
			w.WriteHeader(http.StatusServiceUnavailable)
			return
		}
		_, _ = w.Write([]byte("<feed/>"))
	}))
	t.Cleanup(server.Close)
	s := &Settings{Contact: "office@firm.example", Warnings: []string{server.URL}}
	get := s.warner(func() time.Time { return clock })
	if _, err := get(context.Background(), server.URL); err == nil {
		t.Fatal("503 is no error")
	} else if at, ok := weather.RetryAt(err); !ok || at.Before(clock.Add(10*time.Minute)) {
		t.Errorf("asked again at %s", at)
	}
	clock = clock.Add(9 * time.Minute)
	if _, err := get(context.Background(), server.URL); err == nil || asked != 1 {
		t.Errorf("asked %d times within ten minutes", asked)
	}
	clock, busy = clock.Add(4*time.Minute), false // a quarter longer at most
	if body, err := get(context.Background(), server.URL); err != nil || string(body) != "<feed/>" || asked != 2 {
		t.Errorf("after the wait: %q, %v, asked %d times", body, err, asked)
	}
	if (&Settings{Warnings: []string{server.URL}}).warner(nil) != nil {
		t.Error("nobody is asked without a contact")
	}
}

// A message that a feed names is asked for on its host alone, whatever it
// redirects to, and no more than a megabyte of it is read.
func TestNamedMessagesAreAskedForOnTheirHost(t *testing.T) {
	t.Parallel()
	reached := false
	elsewhere := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { reached = true }))
	t.Cleanup(elsewhere.Close)
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch r.URL.Path {
		case "/away":
			http.Redirect(w, r, elsewhere.URL, http.StatusFound)
		case "/moved":
			http.Redirect(w, r, "/here", http.StatusFound)
		case "/large":
			_, _ = w.Write(make([]byte, cap.MostLinkedBytes+1))
		default:
			_, _ = w.Write([]byte("<alert/>"))
		}
	}))
	t.Cleanup(server.Close)
	s := &Settings{Contact: "office@firm.example", Warnings: []string{server.URL + "/feed"}}
	get := s.warner(now)
	if _, err := get(context.Background(), server.URL+"/away"); err == nil || reached {
		t.Errorf("followed to another host: %v", err)
	}
	if _, err := get(context.Background(), server.URL+"/large"); err == nil {
		t.Error("a large message was read")
	}
	for _, path := range []string{"/moved", "/here", "/feed"} {
		if body, err := get(context.Background(), server.URL+path); err != nil || string(body) != "<alert/>" {
			t.Errorf("%s: %q, %v", path, body, err)
		}
	}
}
