package schedule_test

import (
	"crypto/sha256"
	"strings"
	"testing"
	"time"

	"toeboard/schedule"
	"toeboard/weather/fault"
)

func TestPrivateLinks(t *testing.T) {
	s := newScene(t)
	page, feed, brief := "p"+strings.Repeat("A", 42), "f"+strings.Repeat("B", 42), "b"+strings.Repeat("C", 42)
	hour := storeNow.Add(time.Hour)
	s.must(s.store.CreateLink(ctx, s.firm, schedule.Link{ScaffoldFirm: s.yards[0].ID, Purpose: schedule.ForPage}, page, storeNow))
	s.must(s.store.CreateLink(ctx, s.firm, schedule.Link{ScaffoldFirm: s.yards[0].ID, Purpose: schedule.ForFeed}, feed, storeNow.Add(time.Second)))
	s.must(s.store.CreateLink(ctx, s.firm, schedule.Link{ScaffoldFirm: s.yards[1].ID, Purpose: schedule.ForPage, Expires: hour}, brief, storeNow))
	got, err := s.store.LinkByToken(ctx, page, storeNow)
	if err != nil || got.Firm != s.firm || got.ScaffoldFirm != s.yards[0].ID || got.Purpose != schedule.ForPage || got.CreatedAt != storeNow || !got.Expires.IsZero() {
		t.Errorf("page link %+v, %v", got, err)
	}
	if got, err := s.store.LinkByToken(ctx, brief, hour.Add(-time.Second)); err != nil || got.Expires != hour || got.ScaffoldFirm != s.yards[1].ID {
		t.Errorf("short link %+v, %v", got, err)
	}
	_, err = s.store.LinkByToken(ctx, brief, hour)
	wantKind(t, "expired", err, fault.NotFound)
	for name, token := range map[string]string{"never was": "x" + page, "empty": "", "a quote": page + "'", "NUL": page + "\x00"} {
		_, err := s.store.LinkByToken(ctx, token, storeNow)
		wantKind(t, name, err, fault.NotFound)
	}
	s.must(s.store.RevokeLink(ctx, s.firm, got.ID, storeNow))
	s.must(s.store.RevokeLink(ctx, s.firm, got.ID, hour))
	_, err = s.store.LinkByToken(ctx, page, storeNow)
	wantKind(t, "revoked", err, fault.NotFound)
	wantKind(t, "revoke none", s.store.RevokeLink(ctx, s.firm, newID(), storeNow), fault.NotFound)
	links, err := s.store.Links(ctx, s.firm, s.yards[0].ID)
	if err != nil || len(links) != 2 || links[0].Purpose != schedule.ForFeed || links[1].RevokedAt != storeNow {
		t.Errorf("links %+v, %v", links, err)
	}
	// What leaks with a copy of the database opens nothing.
	var kept []byte
	s.must(s.db.Owner.QueryRow(ctx, `SELECT token_hash FROM private_link WHERE link_id = $1`, links[0].ID).Scan(&kept))
	if want := sha256.Sum256([]byte(feed)); string(kept) != string(want[:]) {
		t.Errorf("kept %x, want the SHA-256 of the token", kept)
	}
	for _, content := range s.everything() {
		if strings.Contains(content, feed) {
			t.Error("the token itself is in the database")
		}
	}
}

func TestLinksThatCannotBeAreRefused(t *testing.T) {
	s := newScene(t)
	token := strings.Repeat("t", 43)
	s.must(s.store.CreateLink(ctx, s.firm, schedule.Link{ScaffoldFirm: s.yards[0].ID, Purpose: schedule.ForPage}, token, storeNow))
	before := s.everything()
	for name, c := range map[string]struct {
		err  error
		kind fault.Kind
	}{
		"a short token": {s.store.CreateLink(ctx, s.firm, schedule.Link{ScaffoldFirm: s.yards[0].ID, Purpose: schedule.ForPage}, "guess-me", storeNow), fault.Invalid},
		"no purpose":    {s.store.CreateLink(ctx, s.firm, schedule.Link{ScaffoldFirm: s.yards[0].ID, Purpose: "door"}, token+"x", storeNow), fault.Invalid},
		"in the past":   {s.store.CreateLink(ctx, s.firm, schedule.Link{ScaffoldFirm: s.yards[0].ID, Purpose: schedule.ForPage, Expires: storeNow}, token+"x", storeNow), fault.Invalid},
		"token in use":  {s.store.CreateLink(ctx, s.firm, schedule.Link{ScaffoldFirm: s.yards[1].ID, Purpose: schedule.ForPage}, token, storeNow), fault.Conflict},
		"no such yard":  {s.store.CreateLink(ctx, s.firm, schedule.Link{ScaffoldFirm: newID(), Purpose: schedule.ForPage}, token+"x", storeNow), fault.NotFound},
	} {
		wantKind(t, name, c.err, c.kind)
	}
	s.unchanged(before, "refused links")
}
