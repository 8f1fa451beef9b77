package main

import (
	"context"
	"image"
	"image/png"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

// In a real browser: where no code can be read nothing is offered and typing
// works; where one can, one code fills the field, two or none do not. The
// reader of codes itself is the phone's: here a stub of the standard's interface
// (W3C Shape Detection API) stands in its place.
func TestASerialIsScannedOrTyped(t *testing.T) {
	h := openHouse(t, nil)
	m := h.unsigned(t)
	ctx := browser(t, 390, 844)
	h.signIn(ctx, t, h.leadOf(t, m))
	records := h.url + "/jobs/" + m.Job.Ref + "/records"
	var offered bool
	do(ctx, t, "open the records without a reader", chromedp.Navigate(records), chromedp.WaitVisible("#f-serial"),
		chromedp.Evaluate(`"BarcodeDetector" in window || !document.querySelector("[data-scan]").hidden`, &offered))
	if offered {
		t.Error("scanning is offered where no code can be read, or this browser can read codes by now")
	}
	label := filepath.Join(t.TempDir(), "label.png")
	f, err := os.Create(label)
	if err != nil {
		t.Fatal(err)
	}
	if err := png.Encode(f, image.NewGray(image.Rect(0, 0, 8, 8))); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	do(ctx, t, "open them with one", chromedp.ActionFunc(func(c context.Context) error {
		_, err := page.AddScriptToEvaluateOnNewDocument(`window.codes = []; window.BarcodeDetector = class { async detect(picture) { if (!(picture instanceof ImageBitmap)) throw new TypeError("no picture"); return window.codes.map(rawValue => ({rawValue})); } };`).Do(c)
		return err
	}), chromedp.Navigate(records), chromedp.WaitVisible("[data-scan] button"))
	for _, c := range []struct{ codes, value, says string }{
		{`[]`, "", "No code was read"},
		{`["SN-1", "SN-2"]`, "", "2 codes were read: SN-1, SN-2"},
		{`["inv-40417 "]`, "INV-40417", "Read: INV-40417"},
	} {
		var value, says string
		do(ctx, t, "scan "+c.codes, chromedp.Evaluate(`window.codes = `+c.codes, nil), chromedp.SetUploadFiles(`[data-scan] input`, []string{label}, chromedp.ByQuery))
		for until := time.Now().Add(15 * time.Second); !strings.Contains(says, c.says) && time.Now().Before(until); time.Sleep(30 * time.Millisecond) {
			do(ctx, t, "read what is said", chromedp.Text(`[data-scan] [role=status]`, &says, chromedp.ByQuery), chromedp.Value("#f-serial", &value))
		}
		if value != c.value || !strings.Contains(says, c.says) {
			t.Errorf("codes %s: the field has %q, the page says %q", c.codes, value, says)
		}
	}
}
