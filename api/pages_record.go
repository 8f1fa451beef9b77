package api

import (
	"bytes"
	"encoding/json"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/safety/ledger"
	"toeboard/weather/civil"
	"toeboard/weather/fault"
	"toeboard/web"
)

// How much of a log one page shows.
const (
	entriesShown = 60
	headsShown   = 7
)

// recordPage tells the office what is kept and what signs it.
func (s *server) recordPage(c *gin.Context, caller Caller) error {
	return s.showRecord(c, caller, http.StatusOK, nil)
}

func (s *server) showRecord(c *gin.Context, caller Caller, status int, wrong []web.Fault) error {
	job := strings.TrimSpace(c.Query("job"))
	r, err := s.safety.Record(c.Request.Context(), caller.Firm, job, entriesShown, headsShown)
	if err != nil {
		return err
	}
	page := web.RecordPage{Sheet: s.sheet(c.Request, caller), Entries: r.Entries, Unsigned: r.Unsigned(), Job: job, Keys: r.Keys,
		KeysOutside: s.safety.KeysOutside(), SignAction: "/record/heads"}
	for _, h := range r.Heads {
		page.Heads = append(page.Heads, web.RecordHead{At: h.At.In(caller.Location).Format("Mon 2 Jan 2006 15:04"), Size: h.Size, Root: h.Root.String(), Text: h.Text})
	}
	if len(r.Heads) > 0 {
		page.ExportHref = "/record/export"
		if job != "" {
			page.ExportHref += "?job=" + queryPart(job)
		}
	}
	for _, e := range r.Newest {
		page.Rows = append(page.Rows, entryRow(e))
	}
	to, err := s.safety.HeadRecipient(c.Request.Context(), caller.Firm)
	if err != nil {
		return err
	}
	page.Recipient = web.HeadRecipient{Action: "/record/recipient", Version: to.Version, Name: to.Name, Address: to.Address, SetBy: to.SetBy}
	if to.Version > 0 {
		page.Recipient.SetAt = to.SetAt.In(caller.Location).Format("Mon 2 Jan 2006 15:04")
	}
	if page.Faults = wrong; len(wrong) > 0 {
		page.Recipient.Name, page.Recipient.Address = c.PostForm("heads_name"), c.PostForm("heads_address")
	}
	return s.show(c, status, page)
}

// headRecipientForm sets to whom the signed heads go.
func (s *server) headRecipientForm(c *gin.Context, caller Caller) error {
	version, err := strconv.Atoi(c.PostForm("version"))
	if err != nil {
		return fault.Bad("version", c.PostForm("version"), "the version that the page showed")
	}
	got, err := s.SetHeadRecipient(c.Request.Context(), caller, safety.HeadRecipient{Version: version, Name: c.PostForm("heads_name"), Address: c.PostForm("heads_address")})
	if faults := pageFaults(err, nil); faults != nil {
		return s.showRecord(c, caller, refusalOf(err).kind.status, faults)
	}
	if err != nil {
		return err
	}
	if got.Address == "" {
		return s.done(c, "/record", "no-recipient")
	}
	return s.done(c, "/record", "recipient")
}

func entryRow(e ledger.Entry) web.RecordRow {
	who := e.Who()
	if who == "" && e.Kind == "decision" {
		who = "the service"
	}
	return web.RecordRow{Seq: e.Seq, What: ledger.Words(e.Kind), Who: who, JobRef: e.JobRef, Day: e.Day, Href: entryHref(e.Seq)}
}

func entryHref(seq int64) string { return "/record/entries/" + strconv.FormatInt(seq, 10) }

// signHeadForm signs the log now.
func (s *server) signHeadForm(c *gin.Context, caller Caller) error {
	if _, err := s.SignHead(c.Request.Context(), caller.Firm); err != nil {
		return err
	}
	return s.done(c, "/record", "signed-log")
}

// exportRecord sends the record as a file. It is made whole before the first
// byte leaves: half a record must not look like one.
func (s *server) exportRecord(c *gin.Context, caller Caller) error {
	scope := safety.RecordScope{JobRef: strings.TrimSpace(c.Query("job")), Day: civil.NoDate}
	name := "record"
	if scope.JobRef != "" {
		name += "-" + fileWord(scope.JobRef)
	}
	if on := c.Query("day"); on != "" {
		var err error
		if scope.Day, err = civil.Parse(on); err != nil {
			return err
		}
		name += "-" + scope.Day.String()
	}
	var b bytes.Buffer
	if err := s.ExportRecord(c.Request.Context(), caller.Firm, scope, &b); err != nil {
		return err
	}
	c.Header("Content-Disposition", `attachment; filename="`+name+`.jsonl"`)
	c.Data(http.StatusOK, "application/x-ndjson", b.Bytes())
	return nil
}

// fileWord keeps of a reference what every file system takes.
func fileWord(s string) string {
	return strings.Map(func(r rune) rune {
		if r >= '0' && r <= '9' || r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' {
			return r
		}
		return '-'
	}, s)
}

// entryPage proves one record.
func (s *server) entryPage(c *gin.Context, caller Caller) error {
	seq, err := strconv.ParseInt(c.Param("seq"), 10, 64)
	if err != nil || seq < 0 {
		return fault.Missing("entry", c.Param("seq"))
	}
	p, err := s.safety.ProveRecord(c.Request.Context(), caller.Firm, seq)
	if err != nil {
		return err
	}
	page := web.RecordEntry{Sheet: s.sheet(c.Request, caller), Row: entryRow(p.Entry), Name: p.Entry.Name(), Wrong: p.Faults, Leaf: p.Leaf.String(), Text: indented(p.Text)}
	if p.Head != nil {
		page.SignedAt, page.HeadSize = p.Head.At.In(caller.Location).Format("Mon 2 Jan 2006 15:04"), p.Head.Size
	}
	for _, h := range p.Proof {
		page.Proof = append(page.Proof, h.String())
	}
	return s.show(c, http.StatusOK, page)
}

// indented sets a record's text so that people can read it.
func indented(text string) string {
	var b bytes.Buffer
	if json.Indent(&b, []byte(text), "", "  ") != nil {
		return text
	}
	return b.String()
}

// paperPage tells whoever holds a printed paper whether it is what was kept.
func (s *server) paperPage(c *gin.Context, caller Caller) error {
	id, err := uuid.Parse(c.Param("decision"))
	if err != nil {
		return badID("decision", c.Param("decision"))
	}
	k, err := s.PaperOf(c.Request.Context(), caller.Firm, id)
	if err != nil {
		return err
	}
	snap, d := k.Kept.Snapshot, k.Kept.Decision
	page := web.RecordPaper{Sheet: s.sheet(c.Request, caller), Asked: c.Query("facts"), Hash: k.Kept.Hash.String(), Told: webVerdict(d.Verdict), Wrong: k.Proof.Faults,
		At: d.At.In(caller.Location).Format("Mon 2 Jan 2006 15:04"), JobRef: snap.JobRef, Address: snap.Address, Crew: snap.CrewName, Day: snap.Day.Long()}
	page.Same = page.Asked == page.Hash && snap.Hash() == k.Kept.Hash
	if k.Proof.Head != nil {
		page.SignedAt = k.Proof.Head.At.In(caller.Location).Format("Mon 2 Jan 2006 15:04")
	}
	if may(caller.Role, SeeRecord) {
		page.EntryHref = entryHref(k.Proof.Entry.Seq)
	}
	for _, o := range snap.SignOffs {
		page.Signed = append(page.Signed, o.TypedName+", "+o.ReceivedAt.In(caller.Location).Format("15:04"))
	}
	return s.show(c, http.StatusOK, page)
}

// packFile sends one crew's papers at one job on one day as PDF.
func (s *server) packFile(c *gin.Context, caller Caller) error {
	crew, err := uuid.Parse(c.Param("crew"))
	if err != nil {
		return badID("crew", c.Param("crew"))
	}
	day, err := civil.Parse(c.Param("date"))
	if err != nil {
		return err
	}
	ref, err := jobAsked(c)
	if err != nil {
		return err
	}
	p, err := s.Pack(c.Request.Context(), caller, crew, ref, day)
	if err != nil {
		return err
	}
	pdf, err := p.PDF()
	if err != nil {
		return err
	}
	c.Header("Content-Disposition", `inline; filename="`+p.FileName()+`.pdf"`)
	c.Data(http.StatusOK, "application/pdf", pdf)
	return nil
}

// packHref is where a crew's papers of a day at a job are.
func packHref(crew uuid.UUID, ref string, day civil.Date) string {
	return morningHref(crew, day) + "/pack?job=" + queryPart(ref)
}

// packLinks leads to the papers of each crew's days at a job, as the published
// plan has them: of those crews whose mornings this person may see.
func packLinks(f JobFile, caller Caller) []web.Link {
	if f.Plan == nil {
		return nil
	}
	var all []web.Link
	for _, v := range f.Plan.Visits {
		if v.Job != f.Job.ID || v.Crew == uuid.Nil {
			continue
		}
		for _, h := range v.HalfDays {
			link := web.Link{Words: f.crews[v.Crew].Name + ", " + h.Date().Short(), Href: packHref(v.Crew, f.Job.Ref, h.Date())}
			if ownCrew(caller, f.crews[v.Crew], h.Date()) == nil && !slices.Contains(all, link) {
				all = append(all, link)
			}
		}
	}
	return all
}
