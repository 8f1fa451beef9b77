package safety

import (
	"bytes"
	"encoding/binary"
	"slices"

	"github.com/bep/imagemeta"

	"toeboard/weather/fault"
)

// WithoutTraces gives a photo without what a phone writes beside the picture:
// position, time, maker, a smaller copy, a film. The picture itself is the same
// to the bit. What is kept as evidence is the file as it was sent; this is what
// is shown. Of a JPEG the direction in which it is held up stays, and its
// colours' profile. It is Invalid when the bytes are no such picture: then
// nothing may be shown.
func WithoutTraces(mediaType string, photo []byte) ([]byte, error) {
	var plain []byte
	ok := false
	switch mediaType {
	case "image/jpeg":
		plain, ok = plainJPEG(photo)
	case "image/png":
		plain, ok = plainPNG(photo)
	case "image/webp":
		plain, ok = plainWebP(photo)
	}
	if !ok {
		return nil, fault.Bad("file", mediaType, "a whole JPEG, PNG or WebP photo")
	}
	return plain, nil
}

// Markers of a JPEG (ITU-T T.81, table B.1).
const (
	jpegSOI, jpegEOI, jpegSOS         = 0xD8, 0xD9, 0xDA
	jpegAPP0, jpegAPP1, jpegAPP2      = 0xE0, 0xE1, 0xE2
	jpegAPP14, jpegAPP15, jpegComment = 0xEE, 0xEF, 0xFE
)

// plainJPEG copies a JPEG up to its end of image, without comments and without
// application segments but JFIF, Adobe's colours and an ICC profile.
func plainJPEG(b []byte) ([]byte, bool) {
	if len(b) < 4 || b[0] != 0xFF || b[1] != jpegSOI {
		return nil, false
	}
	out := append([]byte{0xFF, jpegSOI}, heldUp(b)...)
	for at := 2; at+1 < len(b); {
		if b[at] != 0xFF {
			return nil, false
		}
		marker := b[at+1]
		switch {
		case marker == 0xFF: // a fill byte
			at++
			continue
		case marker == jpegEOI:
			return append(out, 0xFF, jpegEOI), true
		case at+4 > len(b):
			return nil, false
		}
		end := at + 2 + int(binary.BigEndian.Uint16(b[at+2:]))
		if end < at+4 || end > len(b) {
			return nil, false
		}
		if marker == jpegSOS {
			end += scanLength(b[end:])
		}
		if keptInJPEG(marker, b[at+4:end]) {
			out = append(out, b[at:end]...)
		}
		at = end
	}
	return nil, false
}

func keptInJPEG(marker byte, body []byte) bool {
	switch {
	case marker == jpegAPP2:
		return bytes.HasPrefix(body, []byte("ICC_PROFILE\x00"))
	case marker == jpegComment:
		return false
	case marker > jpegAPP0 && marker <= jpegAPP15:
		return marker == jpegAPP14
	}
	return true
}

// scanLength is how far the coded picture goes after a start of scan: up to the
// next marker that is neither a stuffed byte nor a restart.
func scanLength(b []byte) int {
	for i := 0; i+1 < len(b); i++ {
		if b[i] == 0xFF && b[i+1] != 0 && b[i+1] != 0xFF && !(b[i+1] >= 0xD0 && b[i+1] <= 0xD7) {
			return i
		}
	}
	return len(b)
}

// heldUp is an Exif segment that says nothing but how the picture is held up, so
// that a photo taken upright is not shown on its side; nothing where the photo
// does not say it.
func heldUp(jpeg []byte) []byte {
	way := uint16(0)
	_, err := imagemeta.Decode(imagemeta.Options{R: bytes.NewReader(jpeg), ImageFormat: imagemeta.JPEG, Sources: imagemeta.EXIF,
		ShouldHandleTag: func(t imagemeta.TagInfo) bool { return t.Tag == "Orientation" },
		HandleTag: func(t imagemeta.TagInfo) error {
			if n, ok := t.Value.(uint16); ok && t.Namespace == "IFD0" {
				way = n
			}
			return nil
		}})
	if err != nil || way < 2 || way > 8 {
		return nil
	}
	// Exif 2.3: big-endian TIFF, one entry of tag 0x0112, type SHORT.
	tiff := []byte{'M', 'M', 0, 42, 0, 0, 0, 8, 0, 1, 0x01, 0x12, 0, 3, 0, 0, 0, 1, 0, byte(way), 0, 0, 0, 0, 0, 0}
	segment := append([]byte{0xFF, jpegAPP1, 0, byte(2 + 6 + len(tiff))}, "Exif\x00\x00"...)
	return append(segment, tiff...)
}

// pngShown are the chunks of a PNG that say how it looks (PNG specification,
// third edition, section 11); text, times and Exif are none of them.
var pngShown = []string{"IHDR", "PLTE", "IDAT", "IEND", "tRNS", "gAMA", "cHRM", "sRGB", "iCCP", "cICP", "sBIT", "bKGD", "pHYs"}

func plainPNG(b []byte) ([]byte, bool) {
	const signature = "\x89PNG\r\n\x1a\n"
	if !bytes.HasPrefix(b, []byte(signature)) {
		return nil, false
	}
	out := []byte(signature)
	for at := len(signature); at+12 <= len(b); {
		size := int(binary.BigEndian.Uint32(b[at:]))
		if size > len(b)-at-12 {
			return nil, false
		}
		name := string(b[at+4 : at+8])
		if slices.Contains(pngShown, name) {
			out = append(out, b[at:at+12+size]...)
		}
		if at += 12 + size; name == "IEND" {
			return out, true
		}
	}
	return nil, false
}

// webpShown are the chunks of a WebP that say how it looks (RFC 9649, section
// 2.7).
var webpShown = []string{"VP8 ", "VP8L", "VP8X", "ALPH", "ANIM", "ANMF", "ICCP"}

func plainWebP(b []byte) ([]byte, bool) {
	if len(b) < 20 || string(b[:4]) != "RIFF" || string(b[8:12]) != "WEBP" {
		return nil, false
	}
	out := slices.Clone(b[:12])
	end := 8 + int(binary.LittleEndian.Uint32(b[4:]))
	if end > len(b) {
		return nil, false
	}
	for at := 12; at+8 <= end; {
		name, size := string(b[at:at+4]), int(binary.LittleEndian.Uint32(b[at+4:]))
		next := at + 8 + size + size%2
		if size > end-at-8 || next > end {
			return nil, false
		}
		if slices.Contains(webpShown, name) {
			out = append(out, b[at:next]...)
		}
		if name == "VP8X" && size > 0 {
			out[len(out)-size-size%2] &^= 0x08 | 0x04 // no Exif, no XMP
		}
		at = next
	}
	binary.LittleEndian.PutUint32(out[4:], uint32(len(out)-8))
	return out, len(out) > 12
}
