package safety

import (
	"bytes"
	"encoding/base64"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"slices"
	"strings"
	"testing"

	"github.com/bep/imagemeta"
	"golang.org/x/image/webp"
)

// phoneTraces is Exif as a phone writes it (Exif 2.3, little-endian TIFF): held
// upright (orientation 6), maker "Maker", and the position 51.5 degrees north.
func phoneTraces() []byte {
	le := binary.LittleEndian
	entry := func(tag, kind uint16, n, v uint32) []byte {
		return le.AppendUint32(le.AppendUint32(le.AppendUint16(le.AppendUint16(nil, tag), kind), n), v)
	}
	b := append([]byte("II*\x00"), 8, 0, 0, 0)
	b = le.AppendUint16(b, 3)
	b = append(b, entry(0x010F, 2, 6, 80)...) // Make, at 80
	b = append(b, entry(0x0112, 3, 1, 6)...)  // Orientation
	b = append(b, entry(0x8825, 4, 1, 50)...) // GPS, at 50
	b = le.AppendUint32(b, 0)                 // 8+2+36+4 = 50
	b = le.AppendUint16(b, 2)
	b = append(b, entry(0x0001, 2, 2, 'N')...) // GPSLatitudeRef
	b = append(b, entry(0x0002, 5, 3, 86)...)  // GPSLatitude, at 86
	b = le.AppendUint32(b, 0)                  // 50+2+24+4 = 80
	b = append(b, "Maker\x00"...)
	for _, n := range []uint32{51, 1, 30, 1, 0, 1} {
		b = le.AppendUint32(b, n)
	}
	return b
}

// read lists what another reader (bep/imagemeta) finds in a photo beside the
// picture.
func tracesIn(t testing.TB, format imagemeta.ImageFormat, photo []byte) (all []string) {
	t.Helper()
	_, err := imagemeta.Decode(imagemeta.Options{R: bytes.NewReader(photo), ImageFormat: format, Sources: imagemeta.EXIF | imagemeta.IPTC | imagemeta.XMP,
		ShouldHandleTag: func(imagemeta.TagInfo) bool { return true },
		HandleTag:       func(tag imagemeta.TagInfo) error { all = append(all, tag.Tag); return nil }})
	if err != nil && !imagemeta.IsInvalidFormat(err) {
		t.Fatalf("the other reader: %v", err)
	}
	slices.Sort(all)
	return all
}

func testPicture() image.Image {
	m := image.NewRGBA(image.Rect(0, 0, 24, 16))
	for i := range m.Pix {
		m.Pix[i] = byte(37 * i)
	}
	m.Set(1, 1, color.White)
	return m
}

// What a phone writes beside the picture is not in what is shown: another reader
// finds nothing but how it is held up, and the decoders of the Go team the same
// picture to the bit.
func TestWhatIsShownOfAPhotoHasNoTraces(t *testing.T) {
	t.Parallel()
	var plain bytes.Buffer
	if err := jpeg.Encode(&plain, testPicture(), nil); err != nil {
		t.Fatal(err)
	}
	segment := func(marker byte, body string) string {
		return string([]byte{0xFF, marker, byte((len(body) + 2) >> 8), byte(len(body) + 2)}) + body
	}
	body := plain.String()
	xmp := segment(0xE1, "http://ns.adobe.com/xap/1.0/\x00<x:xmpmeta xmlns:x='adobe:ns:meta/'>51.5 N</x:xmpmeta>")
	icc := segment(0xE2, "ICC_PROFILE\x00\x01\x01colours")
	traced := body[:2] + segment(0xE1, "Exif\x00\x00"+string(phoneTraces())) + xmp + icc + segment(0xE2, "MPF\x00more pictures") + segment(0xED, "Photoshop 3.0\x00") + segment(0xFE, "by Tom") + body[2:] + "a film of two seconds"
	if found := strings.Join(tracesIn(t, imagemeta.JPEG, []byte(traced)), " "); !strings.Contains(found, "GPSLatitude") || !strings.Contains(found, "Make") {
		t.Fatalf("the sample should say where it was taken: %s", found)
	}
	shown, err := WithoutTraces("image/jpeg", []byte(traced))
	if err != nil {
		t.Fatal(err)
	}
	if found := tracesIn(t, imagemeta.JPEG, shown); !slices.Equal(found, []string{"Orientation"}) {
		t.Errorf("what is shown still says %v", found)
	}
	for _, word := range []string{"Maker", "51.5", "MPF", "Photoshop", "by Tom", "film"} {
		if bytes.Contains(shown, []byte(word)) {
			t.Errorf("what is shown has %q", word)
		}
	}
	if !bytes.Contains(shown, []byte(icc)) {
		t.Error("the profile of its colours is lost")
	}
	same(t, "jpeg", jpeg.Decode, []byte(traced), shown)

	var drawn bytes.Buffer
	if err := png.Encode(&drawn, testPicture()); err != nil {
		t.Fatal(err)
	}
	chunk := func(name, data string) string {
		b := binary.BigEndian.AppendUint32(nil, uint32(len(data)))
		b = append(b, name+data...)
		return string(binary.BigEndian.AppendUint32(b, crc32.ChecksumIEEE([]byte(name+data))))
	}
	const head = 8 + 25 // signature and IHDR
	traced = drawn.String()[:head] + chunk("eXIf", string(phoneTraces())) + chunk("tEXt", "Author\x00Tom") + drawn.String()[head:] + "a film"
	if shown, err = WithoutTraces("image/png", []byte(traced)); err != nil || !bytes.Equal(shown, drawn.Bytes()) {
		t.Errorf("a PNG: %d bytes, want the %d without text, %v", len(shown), drawn.Len(), err)
	}
	same(t, "png", png.Decode, []byte(traced), shown)

	small, err := base64.StdEncoding.DecodeString("UklGRhoAAABXRUJQVlA4TA0AAAAvAAAAEAcQERGIiP4HAA==")
	if err != nil {
		t.Fatal(err)
	}
	le := binary.LittleEndian
	// The other reader does not know that odd chunks are padded: Exif stands first.
	wide := "VP8X" + string(le.AppendUint32(nil, 10)) + "\x18\x00\x00\x00\x00\x00\x00\x00\x00\x00" + "EXIF" + string(le.AppendUint32(nil, uint32(len(phoneTraces())))) + string(phoneTraces()) + string(small[12:])
	traced = "RIFF" + string(le.AppendUint32(nil, uint32(4+len(wide)))) + "WEBP" + wide
	if found := tracesIn(t, imagemeta.WebP, []byte(traced)); !slices.Contains(found, "GPSLatitude") {
		t.Fatalf("the sample should say where it was taken: %v", found)
	}
	if shown, err = WithoutTraces("image/webp", []byte(traced)); err != nil {
		t.Fatal(err)
	}
	if found := tracesIn(t, imagemeta.WebP, shown); len(found) > 0 || bytes.Contains(shown, []byte("Maker")) {
		t.Errorf("what is shown of a WebP still says %v", found)
	}
	same(t, "webp", webp.Decode, []byte(traced), shown)
}

func same[R any](t *testing.T, kind string, decode func(R) (image.Image, error), was, is []byte) {
	t.Helper()
	read := func(b []byte) image.Image {
		m, err := decode(any(bytes.NewReader(b)).(R))
		if err != nil {
			t.Fatalf("%s: %v", kind, err)
		}
		return m
	}
	a, b := read(was), read(is)
	for y := a.Bounds().Min.Y; y < a.Bounds().Max.Y; y++ {
		for x := a.Bounds().Min.X; x < a.Bounds().Max.X; x++ {
			if a.At(x, y) != b.At(x, y) {
				t.Fatalf("%s: another picture at %d, %d", kind, x, y)
			}
		}
	}
	if a.Bounds() != b.Bounds() {
		t.Errorf("%s: %v, was %v", kind, b.Bounds(), a.Bounds())
	}
}

// What is no whole picture is not shown at all; whatever the bytes, what is
// shown loses its traces once and for all.
func FuzzPhoto(f *testing.F) {
	var plain bytes.Buffer
	if err := jpeg.Encode(&plain, testPicture(), nil); err != nil {
		f.Fatal(err)
	}
	exif := append([]byte{0xFF, 0xD8, 0xFF, 0xE1, 0, byte(8 + len(phoneTraces()))}, "Exif\x00\x00"...)
	f.Add(slices.Concat(exif, phoneTraces(), plain.Bytes()[2:]))
	f.Add(plain.Bytes()[:plain.Len()-2])
	f.Add([]byte("\xff\xd8\xff\xd9"))
	f.Add([]byte("\x89PNG\r\n\x1a\n\xff\xff\xff\xffIDAT\x00\x00\x00\x00"))
	f.Add([]byte("RIFF\xff\xff\xff\xffWEBPVP8X\xff\xff\xff\xff"))
	f.Add([]byte("RIFF\x10\x00\x00\x00WEBPVP8X\x00\x00\x00\x00"))
	f.Fuzz(func(t *testing.T, photo []byte) {
		for kind, format := range map[string]imagemeta.ImageFormat{"image/jpeg": imagemeta.JPEG, "image/png": imagemeta.PNG, "image/webp": imagemeta.WebP, "text/html": 0} {
			shown, err := WithoutTraces(kind, photo)
			if err != nil {
				if shown != nil {
					t.Fatalf("%s: refused and shown", kind)
				}
				continue
			}
			if kind == "text/html" {
				t.Fatal("no picture is shown")
			}
			again, err := WithoutTraces(kind, shown)
			if err != nil || !bytes.Equal(again, shown) {
				t.Fatalf("%s: what is shown changes when it is cleaned again: %v", kind, err)
			}
			_, _ = imagemeta.Decode(imagemeta.Options{R: bytes.NewReader(shown), ImageFormat: format, Sources: imagemeta.EXIF,
				ShouldHandleTag: func(imagemeta.TagInfo) bool { return true },
				HandleTag: func(tag imagemeta.TagInfo) error {
					if tag.Tag != "Orientation" {
						t.Fatalf("%s: what is shown says %s", kind, tag.Tag)
					}
					return nil
				}})
		}
	})
}
