package paper

import (
	"bytes"
	"fmt"
	"strings"

	"codeberg.org/go-pdf/fpdf"
	"github.com/piglig/go-qr"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
)

// Measures of an A4 sheet in mm. The type is large enough to be read in a van.
const (
	left, top, bottom = 15.0, 14.0, 20.0
	wide              = 210 - 2*left
	small, body, head = 7.5, 9.5, 13.0 // [pt]
)

// sheet is a PDF that is being set. Its first error stays in the library.
type sheet struct{ *fpdf.Fpdf }

// newSheet begins a document. Fonts are embedded (the Go fonts, which a Go
// module carries under a free licence), dates are the decision's and the catalog
// is sorted, so that the same pack gives the same bytes.
func newSheet(p Pack, title string) sheet {
	f := sheet{fpdf.New("P", "mm", "A4", "")}
	f.SetCatalogSort(true)
	f.SetCreationDate(p.Decision.At)
	f.SetModificationDate(p.Decision.At)
	f.SetProducer("toeboard", true)
	f.SetTitle(title, true)
	f.SetAuthor(p.Firm, true)
	f.SetSubject("facts "+p.Hash.String(), true)
	f.SetLang("en-GB")
	f.SetXmpMetadata(xmp(p, title))
	f.AddUTF8FontFromBytes("go", "", goregular.TTF)
	f.AddUTF8FontFromBytes("go", "B", gobold.TTF)
	f.SetMargins(left, top, left)
	f.SetAutoPageBreak(true, bottom)
	f.AliasNbPages("{pages}")
	f.SetFooterFunc(func() { f.footer(p) })
	f.AddPage()
	return f
}

// footer says on each page which pack it belongs to, so that no page of another
// day can be put among them unseen.
func (f sheet) footer(p Pack) {
	f.SetY(-bottom + 5)
	f.SetDrawColor(0, 0, 0)
	f.Line(left, f.GetY(), left+wide, f.GetY())
	f.SetFont("go", "", small)
	f.CellFormat(wide-30, 4.5, fmt.Sprintf("%s, %s, crew %s, %s", p.Firm, p.Facts.JobRef, p.Facts.CrewName, p.Facts.Day.Long()), "", 0, "L", false, 0, "")
	f.CellFormat(30, 4.5, fmt.Sprintf("page %d of {pages}", f.PageNo()), "", 1, "R", false, 0, "")
	f.CellFormat(wide, 4, "facts "+p.Hash.String(), "", 0, "L", false, 0, "")
}

// xmp is the metadata packet: what the document is, readable without the PDF.
// It claims no conformance level that nobody checked.
func xmp(p Pack, title string) []byte {
	at := p.Decision.At.UTC().Format("2006-01-02T15:04:05Z")
	return []byte(`<?xpacket begin="` + "\ufeff" + `" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/" xmlns:xmp="http://ns.adobe.com/xap/1.0/" xmlns:pdf="http://ns.adobe.com/pdf/1.3/">
<dc:format>application/pdf</dc:format>
<dc:title><rdf:Alt><rdf:li xml:lang="x-default">` + escaped(title) + `</rdf:li></rdf:Alt></dc:title>
<dc:creator><rdf:Seq><rdf:li>` + escaped(p.Firm) + `</rdf:li></rdf:Seq></dc:creator>
<dc:identifier>sha256:` + p.Hash.String() + `</dc:identifier>
<xmp:CreateDate>` + at + `</xmp:CreateDate><xmp:ModifyDate>` + at + `</xmp:ModifyDate>
<pdf:Producer>toeboard</pdf:Producer>
</rdf:Description></rdf:RDF></x:xmpmeta>
<?xpacket end="r"?>`)
}

var escaper = strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", `"`, "&quot;")

func escaped(s string) string { return escaper.Replace(s) }

// heading begins a part; it does not stand alone at the foot of a page.
func (f sheet) heading(text string) {
	f.room(22)
	f.Ln(3)
	f.SetFont("go", "B", head)
	f.MultiCell(wide, 6.5, text, "", "L", false)
	f.Line(left, f.GetY(), left+wide, f.GetY())
	f.Ln(1.5)
}

// room begins a new page unless so many mm are left on this one.
func (f sheet) room(mm float64) {
	if f.GetY()+mm > 297-bottom {
		f.AddPage()
	}
}

func (f sheet) strong(text string) { f.text("B", body, 0, text) }
func (f sheet) para(text string)   { f.text("", body, 0, text) }
func (f sheet) note(text string)   { f.text("", small, 0, text) }

// item writes one line of a list; mark is its word or number.
func (f sheet) item(mark, text string) {
	f.room(5)
	f.SetFont("go", "", body)
	f.SetX(left + 1)
	f.CellFormat(6, 4.6, mark, "", 0, "L", false, 0, "")
	f.text("", body, 7, text)
}

// text writes a paragraph indented by so many mm.
func (f sheet) text(style string, size, indent float64, text string) {
	f.SetFont("go", style, size)
	f.SetX(left + indent)
	f.MultiCell(wide-indent, size*0.485, printable(text), "", "L", false)
}

// line writes a label and, beside it, what it says.
func (f sheet) line(label, text string) {
	const column = 42.0
	f.room(6)
	f.SetFont("go", "B", body)
	y := f.GetY()
	f.MultiCell(column-2, 4.6, printable(label), "", "L", false)
	after := f.GetY()
	f.SetXY(left+column, y)
	f.SetFont("go", "", body)
	f.MultiCell(wide-column, 4.6, printable(text), "", "L", false)
	if f.GetY() < after && after-y < 20 {
		f.SetY(after)
	}
}

// printable gives what the fonts have a picture for: what they have none for
// becomes a question mark that is seen, not a gap.
func printable(s string) string {
	return strings.Map(func(r rune) rune {
		if r == '\n' || r >= ' ' && r < 0x2500 && r != 0x7f {
			return r
		}
		return '?'
	}, s)
}

// qr draws a QR code (ISO/IEC 18004, level M) with its quiet zone, size mm wide.
func (f sheet) qr(text string, x, y, size float64) error {
	code, err := go_qr.EncodeText(text, go_qr.Medium)
	if err != nil {
		return fmt.Errorf("draw the code of the address: %w", err)
	}
	n := code.Size()
	unit := size / float64(n+8)
	f.SetFillColor(0, 0, 0)
	for row := range n {
		for col := 0; col < n; col++ {
			run := 0
			for col+run < n && code.Module(col+run, row) {
				run++
			}
			if run > 0 {
				f.Rect(x+float64(col+4)*unit, y+float64(row+4)*unit, float64(run)*unit, unit, "F")
				col += run
			}
		}
	}
	return nil
}

func (f sheet) bytes() ([]byte, error) {
	var b bytes.Buffer
	if err := f.Output(&b); err != nil {
		return nil, fmt.Errorf("set the paper: %w", err)
	}
	return b.Bytes(), nil
}
