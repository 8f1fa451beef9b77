package api

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"io"
	"net/http"
	"strings"

	"github.com/gin-gonic/gin"

	"toeboard/schedule"
	"toeboard/weather/fault"
	"toeboard/web"
)

// importPage asks for a file.
func (s *server) importPage(c *gin.Context, caller Caller) error {
	return s.show(c, http.StatusOK, s.importSheet(c, caller))
}

func (s *server) importSheet(c *gin.Context, caller Caller) web.Import {
	return web.Import{
		Sheet: s.sheet(c.Request, caller), Action: "/import", ConfirmTo: "/import/confirm", ExportHref: "/export/jobs.csv",
		Columns: mapped(schedule.JobColumns(), func(k schedule.JobColumn) web.Column {
			return web.Column{Name: k.Name, Holds: k.Holds, Example: k.Example, Must: k.Must}
		}),
	}
}

// importForm shows what a file would change. It changes nothing, so it needs no
// key.
func (s *server) importForm(c *gin.Context, caller Caller) error {
	header, err := c.FormFile("file")
	if err != nil {
		if refusalOf(err).kind == tooLarge {
			return err
		}
		return s.showImport(c, caller, "", nil, fault.Bad("file", "", "choose a CSV file"))
	}
	file, err := header.Open()
	if err != nil {
		return fmt.Errorf("read the file that was sent: %w", err)
	}
	defer file.Close()
	content, err := io.ReadAll(file)
	if err != nil {
		return fmt.Errorf("read the file that was sent: %w", err)
	}
	return s.showImport(c, caller, header.Filename, content, nil)
}

// showImport shows the dry run of a file, with what is wrong in it.
func (s *server) showImport(c *gin.Context, caller Caller, name string, content []byte, wrong error) error {
	page := s.importSheet(c, caller)
	page.FileName = name
	status := http.StatusOK
	if wrong == nil {
		var dry schedule.Import
		if dry, wrong = s.ReadImport(c.Request.Context(), caller.Firm, bytes.NewReader(content)); wrong == nil {
			importView(&page, dry)
			page.Held = hold(name, content)
			return s.show(c, status, page)
		}
	}
	cells := schedule.BadCells(wrong)
	page.Bad = mapped(cells, func(b *schedule.BadCell) web.BadRow {
		return web.BadRow{Line: b.Line, Column: b.Column, Value: b.Value, Want: b.Want}
	})
	if len(cells) == 0 {
		if page.Faults = pageFaults(wrong); page.Faults == nil {
			return wrong
		}
	}
	return s.show(c, http.StatusUnprocessableEntity, page)
}

func importView(page *web.Import, dry schedule.Import) {
	page.Same = dry.Unchanged
	page.New = mapped(dry.New, func(n schedule.NewJob) web.NewJob {
		return web.NewJob{Line: n.Line, Ref: n.Job.Ref, Customer: n.Job.Customer.Name, Place: shortPlace(n.Job.Site.Address)}
	})
	page.Changed = mapped(dry.Changed, func(k schedule.ChangedJob) web.ChangedJob {
		return web.ChangedJob{Line: k.Line, Ref: k.After.Ref, Fields: mapped(k.Diffs, func(d schedule.Diff) web.FieldDiff {
			return web.FieldDiff{Field: d.Field, Was: d.Was, Becomes: d.Becomes}
		})}
	})
	page.Notice = strings.Join(dry.Notes, " ")
}

// hold lets the confirming form send the same file back, so that nothing is
// kept on the server for a form that may never come.
func hold(name string, content []byte) string {
	return base64.URLEncoding.EncodeToString([]byte(name)) + "." + base64.URLEncoding.EncodeToString(content)
}

func release(held string) (name string, content []byte, err error) {
	n, body, ok := strings.Cut(held, ".")
	decodedName, err1 := base64.URLEncoding.DecodeString(n)
	content, err2 := base64.URLEncoding.DecodeString(body)
	if !ok || err1 != nil || err2 != nil {
		return "", nil, fault.Bad("file", "", "send the file again")
	}
	return string(decodedName), content, nil
}

// confirmForm takes the file that was shown.
func (s *server) confirmForm(c *gin.Context, caller Caller) error {
	name, content, err := release(c.PostForm("held"))
	if err != nil {
		return s.showImport(c, caller, "", nil, err)
	}
	_, err = s.Import(c.Request.Context(), caller.Firm, caller.Name, bytes.NewReader(content))
	if fault.KindOf(err) == fault.Invalid {
		return s.showImport(c, caller, name, content, err)
	}
	if err != nil {
		return err
	}
	return s.done(c, "/jobs", "imported")
}

// exportFile gives all jobs in the form that the import takes.
func (s *server) exportFile(c *gin.Context, caller Caller) error {
	var b bytes.Buffer
	if err := s.Export(c.Request.Context(), caller.Firm, &b); err != nil {
		return err
	}
	c.Header("Content-Disposition", `attachment; filename="jobs.csv"`)
	c.Data(http.StatusOK, "text/csv; charset=utf-8", b.Bytes())
	return nil
}
