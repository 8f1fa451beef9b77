package paper

import (
	"image"
	"image/draw"
	"image/png"
	"os"
	"testing"

	"github.com/piglig/go-qr"
)

// codeOn reads the code in the upper right of a picture of the first page.
func codeOn(t *testing.T, name string) string {
	t.Helper()
	f, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	page, err := png.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	b := page.Bounds()
	corner := image.NewGray(image.Rect(0, 0, b.Dx()*32/100, b.Dy()*20/100))
	draw.Draw(corner, corner.Bounds(), page, image.Pt(b.Dx()*68/100, 0), draw.Src)
	text, err := go_qr.Decode(corner)
	if err != nil {
		t.Fatal(err)
	}
	return text
}
