package api

import (
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"toeboard/safety"
	"toeboard/weather/fault"
	"toeboard/web"
)

// jobRecordsPage shows what is recorded of a job beside its mornings.
func (s *server) jobRecordsPage(c *gin.Context, caller Caller) error {
	return s.showRecords(c, caller, http.StatusOK, nil)
}

// formKinds are the records that people on site make, in the order of a job.
var formKinds = []string{safety.NearMiss, safety.Isolation, safety.IsolationTaken, safety.IsolationEnd, safety.ElectricalTest, safety.Weatherproof, safety.Incident, safety.FollowUp}

func (s *server) showRecords(c *gin.Context, caller Caller, status int, wrong []web.Fault) error {
	b, err := s.ReadBook(c.Request.Context(), caller.Firm, c.Param("ref"))
	if err != nil {
		return err
	}
	lib, err := s.Library(c.Request.Context(), caller.Firm)
	if err != nil {
		return err
	}
	say := recordSayer{b.Records, lib, caller.Location}
	page := web.JobRecords{Sheet: s.sheet(c.Request, caller), Ref: b.Job.Ref, Href: jobHref(b.Job.Ref), MayStrike: webState(b.MayStrike), StrikeSays: b.StrikeSays,
		DeadOpen: b.NotYet, Isolations: mapped(b.Isolations, say.permit), Records: mapped(b.Records, say.row), Cleared: mapped(b.Cleared, say.cleared), Roof: roofGrid(b.Modules), Guidance: safety.ReportGuidance()}
	slices.Reverse(page.Records)
	for _, t := range b.Tests {
		page.Tests = append(page.Tests, web.TestRow{Name: t.Test.Name, Circuit: t.Circuit, Says: t.Says, By: t.By, At: t.At.In(caller.Location).Format("Mon 2 Jan 15:04"), Source: t.Test.Source, State: webState(t.State)})
	}
	if err := s.recordForms(c, caller, b, say, &page); err != nil {
		return err
	}
	page.Module = web.ModuleForm{Row: c.PostForm("row"), Col: c.PostForm("col"), Serial: c.PostForm("serial")}
	page.Faults = wrong
	return s.show(c, status, page)
}

// recordForms asks for the records that this person may make here.
func (s *server) recordForms(c *gin.Context, caller Caller, b RecordBook, say recordSayer, page *web.JobRecords) error {
	if !may(caller.Role, KeepRecords) {
		return nil
	}
	page.Action = jobHref(b.Job.Ref) + "/records"
	for _, kind := range formKinds {
		switch err := s.mayRecord(c.Request.Context(), caller, b.Job, kind); {
		case fault.KindOf(err) == fault.Forbidden:
			continue
		case err != nil:
			return err
		}
		if f := say.form(c, kind, b.Isolations); f != nil {
			page.Kinds = append(page.Kinds, *f)
		}
	}
	err := s.worksThere(c.Request.Context(), caller, b.Job)
	switch {
	case err == nil:
		page.ModuleAction = jobHref(b.Job.Ref) + "/modules"
	case fault.KindOf(err) == fault.Forbidden:
		page.WhyNot = "Tests, permits, the check of the roof and modules are recorded by whoever works here and by the office."
		return nil
	}
	return err
}

// form asks for one kind of record; what was typed is given back. It is nil where
// there is nothing that such a record could be about.
func (w recordSayer) form(c *gin.Context, kind string, open []safety.Permit) *web.JobRecordForm {
	f := web.JobRecordForm{Kind: kind, Words: safety.RecordWords(kind), Open: c.PostForm("kind") == kind}
	for _, p := range safety.RecordFields(kind) {
		if p.Key == "photo" {
			f.Photo = true
			continue
		}
		in := web.JobRecordInput{Name: p.Key, Ask: p.Ask, Must: p.Must}
		if f.Open {
			in.Value = c.PostForm(p.Key)
		}
		switch {
		case p.Key == "permit":
			in.Choices = mapped(open, func(p safety.Permit) web.Choice {
				return web.Choice{Key: p.ID.String(), Words: p.What + ", " + p.Holder}
			})
		case p.Key == "about":
			in.Choices = w.toFollowUp()
		case len(p.Words) > 0:
			in.Choices = append([]web.Choice{{Key: "", Words: "not said"}}, mapped(p.Words, func(key string) web.Choice { return web.Choice{Key: key, Words: w.says(p.Key, key)} })...)
		}
		if (p.Key == "permit" || p.Key == "about") && len(in.Choices) == 0 {
			return nil
		}
		f.Fields = append(f.Fields, in)
	}
	return &f
}

// recordSayer says records in words: what they name by key or identifier is
// looked up in the job's records and in the firm's library.
type recordSayer struct {
	records []safety.Record
	library safety.Library
	loc     *time.Location
}

func (w recordSayer) at(t time.Time) string { return t.In(w.loc).Format("Mon 2 Jan 15:04") }

// toFollowUp lists the near misses and incidents, the newest first.
func (w recordSayer) toFollowUp() (all []web.Choice) {
	for _, r := range slices.Backward(w.records) {
		if r.Kind == safety.NearMiss || r.Kind == safety.Incident {
			all = append(all, web.Choice{Key: r.ID.String(), Words: w.says("about", r.ID.String())})
		}
	}
	return all
}

// says puts what a field holds into words.
func (w recordSayer) says(field, v string) string {
	switch field {
	case "permit", "about", "incident":
		for _, r := range w.records {
			if r.ID.String() == v {
				return r.Body["what"] + ", " + w.at(r.At)
			}
		}
	case "test":
		for _, d := range safety.ElectricalTests() {
			if d.Key == v {
				return d.Name
			}
		}
	case "duty":
		if words := safety.DutyWords(v); words != "" {
			return words
		}
	case "hazard":
		for _, h := range w.library.Hazards {
			if h.ID == strings.ToUpper(strings.TrimSpace(v)) {
				return h.ID + " " + h.Name
			}
		}
	case "outcome", "judged":
		return strings.ReplaceAll(v, "_", " ")
	}
	return v
}

func (w recordSayer) row(r safety.Record) web.JobRecordRow {
	row := web.JobRecordRow{ID: r.ID.String(), What: safety.RecordWords(r.Kind), At: w.at(r.At), By: r.ByName}
	for _, f := range safety.RecordFields(r.Kind) {
		v := r.Body[f.Key]
		if f.Key == "photo" {
			if id, err := uuid.Parse(v); err == nil {
				row.Photo = "/photos/" + id.String()
				continue
			}
		}
		if v != "" {
			row.Lines = append(row.Lines, web.JobRecordLine{Ask: f.Ask, Say: w.says(f.Key, v)})
		}
	}
	return row
}

func (w recordSayer) permit(p safety.Permit) web.OpenPermit {
	o := web.OpenPermit{What: p.What, Where: p.Where, Key: p.Key, Holder: p.Holder, At: w.at(p.At)}
	if !p.Taken.IsZero() {
		o.Taken = w.at(p.Taken)
	}
	return o
}

func (w recordSayer) cleared(c safety.Clearance) string {
	return fmt.Sprintf("Row %d, column %d: %s, put there by %s %s, taken off by %s %s", c.Was.Row, c.Was.Col, c.Was.Serial, c.PlacedBy, w.at(c.Was.At), c.ByName, w.at(c.At))
}

// roofGrid draws the roof with the eaves at the bottom.
func roofGrid(all []safety.ModulePlace) [][]web.RoofCell {
	rows, cols := 0, 0
	at := map[[2]int]string{}
	for _, m := range all {
		rows, cols = max(rows, m.Row), max(cols, m.Col)
		at[[2]int{m.Row, m.Col}] = m.Serial
	}
	var grid [][]web.RoofCell
	for r := rows; r > 0; r-- {
		var line []web.RoofCell
		for col := 1; col <= cols; col++ {
			line = append(line, web.RoofCell{Row: r, Col: col, Serial: at[[2]int{r, col}]})
		}
		grid = append(grid, line)
	}
	return grid
}

// addRecordForm keeps a record.
func (s *server) addRecordForm(c *gin.Context, caller Caller) error {
	kind := c.PostForm("kind")
	body := safety.Fields{}
	renamed := map[string]string{"file": kind + "_file", "photo": kind + "_file", "sky_at": kind + "_on", "at": kind + "_on"}
	for _, f := range safety.RecordFields(kind) {
		if v := strings.TrimSpace(c.PostForm(f.Key)); v != "" {
			body[f.Key] = v
		}
		if f.Key != "photo" {
			renamed[f.Key] = kind + "_" + f.Key
		}
	}
	at, err := skyTime(c.PostForm("on"), s.now(), caller.Location)
	var photo []byte
	if err == nil {
		photo, err = sentFile(c)
	}
	if err == nil {
		_, err = s.AddRecord(c.Request.Context(), caller, recordID(c.Request.Context()), c.Param("ref"), kind, at, body, photo)
	}
	if faults := pageFaults(err, renamed); faults != nil {
		return s.showRecords(c, caller, refusalOf(err).kind.status, faults)
	}
	if err != nil {
		return err
	}
	return s.done(c, jobHref(c.Param("ref"))+"/records", "recorded")
}

// moduleForm notes where a module sits.
func (s *server) moduleForm(c *gin.Context, caller Caller) error {
	row, wrongRow := strconv.Atoi(strings.TrimSpace(c.PostForm("row")))
	col, wrongCol := strconv.Atoi(strings.TrimSpace(c.PostForm("col")))
	var err error
	switch {
	case wrongRow != nil || row < 1 || row > 20:
		err = fault.Bad("row", c.PostForm("row"), "a number from 1 to 20")
	case wrongCol != nil || col < 1 || col > 40:
		err = fault.Bad("col", c.PostForm("col"), "a number from 1 to 40")
	default:
		err = s.PlaceModule(c.Request.Context(), caller, recordID(c.Request.Context()), c.Param("ref"), row, col, c.PostForm("serial"))
	}
	if faults := pageFaults(err, map[string]string{"place": "row"}); faults != nil {
		return s.showRecords(c, caller, refusalOf(err).kind.status, faults)
	}
	if err != nil {
		return err
	}
	return s.done(c, jobHref(c.Param("ref"))+"/records", "noted")
}
