package main

import (
	"strings"
	"testing"
	"time"

	grants "github.com/chromedp/cdproto/browser"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/cdproto/serviceworker"
	"github.com/chromedp/chromedp"
)

// In a real browser: the morning offers to tell this phone, a message that
// arrives is shown with its words, and one that cannot be read is shown too.
// The push services themselves are out of reach here: their part is tried in
// api/push_test.go.
func TestAPhoneShowsWhatItIsTold(t *testing.T) {
	h := openHouse(t, nil)
	m := h.unsigned(t)
	ctx := browser(t, 390, 844)
	h.signIn(ctx, t, h.leadOf(t, m))
	registrations := make(chan serviceworker.RegistrationID, 16)
	chromedp.ListenTarget(ctx, func(e any) {
		if e, ok := e.(*serviceworker.EventWorkerRegistrationUpdated); ok {
			for _, r := range e.Registrations {
				select {
				case registrations <- r.RegistrationID:
				default:
				}
			}
		}
	})
	do(ctx, t, "let it show notifications", grants.GrantPermissions([]grants.PermissionType{grants.PermissionTypeNotifications}).WithOrigin(h.url), serviceworker.Enable())
	var words string
	do(ctx, t, "open the morning", chromedp.Navigate(h.url+"/morning"), chromedp.WaitVisible(`[data-tell] button`), chromedp.Text(`[data-tell] button`, &words))
	if !strings.HasPrefix(words, "Tell this phone") {
		t.Errorf("the button says %q", words)
	}
	var id serviceworker.RegistrationID
	select {
	case id = <-registrations:
	case <-time.After(20 * time.Second):
		t.Fatal("no service worker was registered")
	}
	for data, want := range map[string]string{
		`{"title":"Off the roof by 14:00","body":"Gusts of 13 m/s.","href":"/morning","tag":"turn/alder"}`: "Off the roof by 14:00: Gusts of 13 m/s. /morning",
		`not a note`: "toeboard: Something changed: open the morning. /morning",
	} {
		do(ctx, t, "deliver a message", serviceworker.DeliverPushMessage(h.url, id, data))
		var shown string
		deadline := time.Now().Add(15 * time.Second)
		for !strings.Contains(shown, want) && time.Now().Before(deadline) {
			do(ctx, t, "read what is shown", chromedp.Evaluate(`navigator.serviceWorker.ready.then(r => r.getNotifications()).then(all => all.map(n => n.title + ": " + n.body + " " + n.data.href).join("\n"))`, &shown,
				func(p *runtime.EvaluateParams) *runtime.EvaluateParams { return p.WithAwaitPromise(true) }))
			time.Sleep(50 * time.Millisecond)
		}
		if !strings.Contains(shown, want) {
			t.Errorf("after %s the phone shows %q, want %q", data, shown, want)
		}
	}
}
