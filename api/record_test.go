package api

import (
	"bytes"
	"context"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/PuerkitoBio/goquery"

	"toeboard/safety"
	"toeboard/safety/ledger"
	"toeboard/safety/paper"
	"toeboard/web"
)

// From a briefing on the page to a proven file, by the routes that people use.
func TestTheRecordGoesOutWithItsProof(t *testing.T) {
	s := newScene(t)
	office, lead := s.signedIn(s.emails[s.office]), s.signedIn(s.emails[s.lead])
	_, err := s.svc.Decide(context.Background(), s.firm, s.alder.ID, "Q-1", tuesday)
	must(t, err)

	page := string(office.get("/record").want(200).Body)
	if !strings.Contains(page, "the log was not signed yet") || strings.Contains(page, "/record/export") {
		t.Errorf("before the first head: %s", page)
	}
	office.get("/record/export").want(404)
	office.form("/record/heads", map[string][]string{"key": {"a-key-of-the-page.sign"}}).want(303)
	var now Record
	office.json("GET", "/record", nil, nil).want(200).into(&now)
	if now.Head == nil || now.Unsigned != 0 || now.Head.Size != now.Entries || len(now.Keys) != 1 {
		t.Fatalf("after signing: %+v", now)
	}
	page = string(office.get("/record").want(200).Body)
	for _, want := range []string{now.Head.Root, now.Keys[0], "/record/export", "risk assessment", "decision"} {
		if !strings.Contains(page, strings.ReplaceAll(want, "+", "&#43;")) {
			t.Errorf("the page does not show %q", want)
		}
	}
	for path, whole := range map[string]bool{"/record/export": true, "/record/export?job=Q-1": false, "/record/export?job=Q-1&day=2026-12-01": false} {
		file := office.get(path).want(200)
		report, err := ledger.Verify(bytes.NewReader(file.Body), ledger.Trust{Keys: now.Keys, Heads: []string{now.Head.Text}})
		if err != nil || !report.Proven() || report.About.Whole != whole || report.Kept != 1 || report.Entries == 0 {
			t.Errorf("%s: %+v, %v", path, report, err)
		}
		if !strings.Contains(file.Header.Get("Content-Disposition"), ".jsonl") {
			t.Errorf("%s: %v", path, file.Header)
		}
	}
	office.get("/record/export?job=Q-9").want(404)
	office.get("/record/export?day=2026-12-01").want(422)

	// One entry, on the page and in the contract, held against the head by the proof.
	var e RecordEntry
	office.json("GET", "/record/entries/0", nil, nil).want(200).into(&e)
	var root, leaf ledger.Hash
	must(t, root.UnmarshalText([]byte(e.Head.Root)))
	must(t, leaf.UnmarshalText([]byte(e.Leaf)))
	proof := make([]ledger.Hash, len(e.Proof))
	for i, p := range e.Proof {
		must(t, proof[i].UnmarshalText([]byte(p)))
	}
	if len(e.Wrong) != 0 || ledger.LeafHash([]byte(e.Text)) != leaf || !ledger.CheckEntry(proof, e.Head.Size, root, 0, leaf) {
		t.Errorf("the entry's proof does not hold: %+v", e)
	}
	if got := string(office.get("/record/entries/0").want(200).Body); !strings.Contains(got, "Yes: its text gives its hash") || !strings.Contains(got, e.Leaf) {
		t.Errorf("the entry's page: %s", got)
	}
	office.get("/record/entries/99999").want(404)
	office.get("/record/entries/x").want(404)
	lead.get("/record").want(403)
	lead.get("/record/export").want(403)
	lead.json("GET", "/record", nil, nil).refused(forbidden)

	// A row that was changed past the service is named on its entry's page.
	_, err = s.db.Owner.Exec(context.Background(), `SET session_replication_role = replica; UPDATE competence SET evidence = 'forged'; SET session_replication_role = origin`)
	must(t, err)
	if got := string(office.get("/record/entries/0").want(200).Body); !strings.Contains(got, "Its evidence is &#34;forged&#34; in the database") {
		t.Errorf("a changed row: %s", got)
	}
}

// The papers of a morning: from the crew's page, as PDF and as JSON, and back by
// the address in the code.
func TestThePapersOfAMorning(t *testing.T) {
	s := newScene(t)
	lead, spark := s.signedIn(s.emails[s.lead]), s.signedIn(s.emails[s.spark])
	path := packHref(s.alder.ID, "Q-1", tuesday)
	var draft, kept paper.Pack
	lead.json("GET", "/mornings/2026-12-01/packs/"+s.alder.ID.String()+"?job_ref=Q-1", nil, nil).want(200).into(&draft)
	if draft.Kept || draft.Verify != "" || draft.Decision.Verdict != safety.NotClear {
		t.Errorf("nothing is kept yet: %+v", draft.Decision.Verdict)
	}
	if page := string(lead.get(morningHref(s.alder.ID, tuesday) + "?job=Q-1").want(200).Body); !strings.Contains(page, `href="`+path+`"`) {
		t.Errorf("the morning's page does not lead to %s", path)
	}
	judged, err := s.svc.Decide(context.Background(), s.firm, s.alder.ID, "Q-1", tuesday)
	must(t, err)
	lead.json("GET", "/mornings/2026-12-01/packs/"+s.alder.ID.String()+"?job_ref=Q-1", nil, nil).want(200).into(&kept)
	if !kept.Kept || kept.Hash != judged.Snapshot.Hash() || kept.Facts.Assessment == nil {
		t.Errorf("the kept pack: %v %s", kept.Kept, kept.Hash)
	}
	one, again := lead.get(path).want(200), lead.get(path).want(200)
	if one.Header.Get("Content-Type") != "application/pdf" || !bytes.HasPrefix(one.Body, []byte("%PDF-")) || !bytes.Equal(one.Body, again.Body) {
		t.Error("the paper is no PDF, or another one each time")
	}
	if text, err := pdfText(t, one.Body); err == nil && !strings.Contains(text, kept.Hash.String()) {
		t.Errorf("the paper does not carry the hash of its facts: %s", text)
	}

	back := strings.TrimPrefix(kept.Verify, "http://toeboard.example")
	if got := string(lead.get(back).want(200).Body); !strings.Contains(got, "is the one that was kept") || !strings.Contains(got, "NOT CLEAR") && !strings.Contains(strings.ToLower(got), "not clear") {
		t.Errorf("by the code's address: %s", got)
	}
	other := strings.Replace(back, "facts="+kept.Hash.String()[:4], "facts=0000", 1)
	if got := string(lead.get(other).want(200).Body); !strings.Contains(got, "No: the hash on the paper is not the one that was kept") {
		t.Errorf("with another hash: %s", got)
	}
	spark.get(path).want(403)
	lead.get(packHref(s.alder.ID, "Q-9", tuesday)).want(404)
	lead.get(morningHref(s.alder.ID, tuesday) + "/pack").want(422)
}

// pdfText reads a PDF with poppler, where it is there.
func pdfText(t *testing.T, pdf []byte) (string, error) {
	t.Helper()
	name := t.TempDir() + "/pack.pdf"
	must(t, os.WriteFile(name, pdf, 0o600))
	text, err := exec.CommandContext(t.Context(), "pdftotext", "-layout", name, "-").Output()
	if err != nil && os.Getenv("TOEBOARD_REQUIRE_TOOLS") != "" {
		t.Fatalf("pdftotext is needed (Debian package poppler-utils): %v", err)
	}
	return string(text), err
}

// A paper that is printed after a stop does not say that it is clear, though the
// newest decision that was kept does.
func TestNoPaperIsClearUnderAStop(t *testing.T) {
	s := newScene(t)
	lead, mate, office := s.by(s.lead), s.by(s.mate), s.by(s.office)
	d := s.decisionOf(lead)
	lead.json("POST", "/briefings", nil, briefing(s, d)).want(201)
	mate.json("POST", "/sign-offs", nil, signature(s, d, s.mate)).want(201)
	lead.json("POST", "/sign-offs", nil, signature(s, d, s.lead)).want(201)
	path := "/mornings/2026-12-01/packs/" + s.alder.ID.String() + "?job_ref=Q-1"
	var before, after paper.Pack
	lead.json("GET", path, nil, nil).want(200).into(&before)
	if !before.Kept || before.Decision.Verdict != safety.Clear {
		t.Fatalf("after everybody signed: kept %v, %s", before.Kept, before.Decision.Verdict)
	}
	office.json("POST", "/stop-works", nil, map[string]any{"job_ref": "Q-1", "reason": "a tie is loose"}).want(201)
	lead.json("GET", path, nil, nil).want(200).into(&after)
	if after.Kept || after.Decision.Verdict != safety.NotClear {
		t.Errorf("under a stop: kept %v, %s", after.Kept, after.Decision.Verdict)
	}
}

// Each night the signed head goes to whom the firm set, in a mail whose lines
// prove an export that is made later; to nobody while nobody is set.
func TestTheSignedHeadIsMailedEachNight(t *testing.T) {
	s := newScene(t)
	ctx := context.Background()
	office, lead := s.by(s.office), s.by(s.lead)
	s.setClock(benchStart.Add(-4 * time.Hour)) // 03:15
	if got := s.round("signed_head", tuesday-1); len(got) != 0 {
		t.Fatalf("mailed to nobody: %+v", got)
	}
	set := func(a *agent, version int, name, address string) answer {
		return a.json("POST", "/record/recipient", nil, map[string]any{"version": version, "name": name, "address": address})
	}
	set(lead, 0, "Me", "me@mail.example").refused(forbidden)
	set(office, 0, "The insurer", "").refused(invalid)
	set(office, 0, "The insurer", "no address").refused(invalid)
	set(office, 0, "The insurer", "records@insurer.example").want(200)
	set(office, 0, "Another", "other@insurer.example").refused(conflict) // who looked at nobody
	letters := s.round("signed_head", tuesday)
	if len(letters) != 1 {
		t.Fatalf("%d letters, want one", len(letters))
	}
	mail, html, err := s.svc.web.Letters("Quillmere Solar", []web.Letter{webLetter(letters[0], nil)})
	must(t, err)
	wantIn(t, "the mail", mail, "Please keep this mail", "A night without one")
	var now Record
	office.json("GET", "/record", nil, nil).want(200).into(&now)
	begin, end := strings.Index(mail, "toeboard/record/"), strings.Index(mail, "One such mail comes")
	if at := strings.Index(mail[begin+1:], "\ntoeboard/record/"); at >= 0 && begin+1+at < end { // the words name the first line too
		begin += at + 2
	}
	head := strings.TrimRight(mail[begin:end], "\n") + "\n"
	if !strings.Contains(html, "<pre>") || head != now.Head.Text {
		t.Fatalf("the mail carries\n%q, signed is\n%q", head, now.Head.Text)
	}
	// What is added later is behind that head, and the export proves it.
	_, err = s.svc.Decide(ctx, s.firm, s.alder.ID, "Q-1", tuesday)
	must(t, err)
	office.form("/record/heads", map[string][]string{"key": {"k"}}).want(303)
	report, err := ledger.Verify(bytes.NewReader(office.get("/record/export").want(200).Body), ledger.Trust{Keys: now.Keys, Heads: []string{head}})
	if err != nil || !report.Proven() || report.Kept != 1 {
		t.Errorf("an export against the mailed head: %+v, %v", report, err)
	}
	// By the page: what was typed stays beside its fault, and nobody is set again.
	_, fields := fieldsOf(t, office.get("/record").want(200).says("mailed to The insurer, records@insurer.example. Set by Imogen Thackray").page(), "/record/recipient")
	fields.Set("heads_name", "The insurer")
	fields.Set("heads_address", "nobody")
	again := office.form("/record/recipient", fields).want(422).page()
	if v := again.Find("input[name=heads_address][aria-invalid]").AttrOr("value", ""); v != "nobody" {
		t.Errorf("what was typed is %q", v)
	}
	fields.Set("key", "another")
	fields.Set("heads_name", "")
	fields.Set("heads_address", "")
	office.form("/record/recipient", fields).want(303)
	office.get("/record").want(200).says("mailed to no one").says("recipient of the signed heads")
	if got := s.round("signed_head", tuesday+1); len(got) != 0 {
		t.Errorf("still mailed: %+v", got)
	}
}

// The page of the record says who: by identifier or by name, as each kind of
// record has it.
func TestTheRecordSaysWho(t *testing.T) {
	s := newScene(t)
	rows := s.by(s.office).get("/record").want(200).page().Find("tbody tr")
	said := map[string]string{}
	rows.Each(func(_ int, r *goquery.Selection) {
		cells := r.Find("td")
		said[cells.Eq(0).Text()] = cells.Eq(1).Text()
	})
	for _, what := range []string{"scaffold report", "risk assessment", "approval of a risk assessment"} {
		if said[what] != "Imogen Thackray" {
			t.Errorf("%s by %q", what, said[what])
		}
	}
}
