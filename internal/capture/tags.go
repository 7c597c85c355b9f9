package capture

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"finishbench/internal/files"

	"github.com/bep/imagemeta"
)

// Tags are what a picture's own tags say of how it was taken. What they do not
// say is "" or 0.
type Tags struct {
	Camera        string  // maker, model, body's serial number
	FocalLengthMM float64 // > 0 where told
	Focus         string  // distance to the subject, "0.25 m"
	Taken         string  // as the camera wrote it
}

// maxTagBytes bounds what is read for the tags: they stand at a file's
// beginning, or, in some TIFF files, at its end.
const maxTagBytes = files.MostPicture

// ReadTags reads the tags (Exif) of a JPEG, PNG or TIFF picture. A picture
// without tags, or of another form, has none: that is no error. Damaged tags
// count as none: the picture may well be whole. The error is that of reading.
func ReadTags(path string) (Tags, error) {
	f, err := files.Open(path)
	if err != nil {
		return Tags{}, fmt.Errorf("capture: read tags of %s: %w", path, err)
	}
	defer f.Close()
	var first [8]byte
	n, err := io.ReadFull(f, first[:])
	if err != nil && err != io.ErrUnexpectedEOF && err != io.EOF {
		return Tags{}, fmt.Errorf("capture: read tags of %s: %w", path, err)
	}
	format, ok := tagFormat(first[:n])
	if !ok {
		return Tags{}, nil
	}
	if st, err := f.Stat(); err != nil || st.Size() > maxTagBytes {
		return Tags{}, nil
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return Tags{}, fmt.Errorf("capture: read tags of %s: %w", path, err)
	}
	return decodeTags(f, format), nil
}

func tagFormat(first []byte) (imagemeta.ImageFormat, bool) {
	switch {
	case bytes.HasPrefix(first, []byte("\xff\xd8")):
		return imagemeta.JPEG, true
	case bytes.HasPrefix(first, []byte(pngMagic)):
		return imagemeta.PNG, true
	case bytes.HasPrefix(first, []byte("II*\x00")), bytes.HasPrefix(first, []byte("MM\x00*")):
		return imagemeta.TIFF, true
	}
	return 0, false
}

// exifTags reads tags of these names (CIPA DC-008, Exif 2.32, sections 4.6.4 and
// 4.6.5, names from memory) of the picture itself, not of its thumbnail. Where the tags
// are damaged it gives those before.
func exifTags(r io.ReadSeeker, format imagemeta.ImageFormat, names ...string) (map[string]any, error) {
	got := map[string]any{}
	_, err := imagemeta.Decode(imagemeta.Options{
		R: r, ImageFormat: format, Sources: imagemeta.EXIF,
		ShouldHandleTag: func(t imagemeta.TagInfo) bool {
			return strings.HasPrefix(t.Namespace, "IFD0") && slices.Contains(names, t.Tag)
		},
		HandleTag: func(t imagemeta.TagInfo) error {
			got[t.Tag] = t.Value
			return nil
		},
	})
	return got, err
}

func decodeTags(r io.ReadSeeker, format imagemeta.ImageFormat) Tags {
	got, err := exifTags(r, format, "Make", "Model", "BodySerialNumber", "SerialNumber", "FocalLength", "SubjectDistance",
		"DateTimeOriginal")
	if err != nil {
		return Tags{}
	}
	t := Tags{Taken: text(got["DateTimeOriginal"])}
	serial := text(got["BodySerialNumber"])
	if serial == "" {
		serial = text(got["SerialNumber"])
	}
	t.Camera = strings.Join(strings.Fields(strings.Join([]string{text(got["Make"]), text(got["Model"]), serial}, " ")), " ")
	if v := number(got["FocalLength"]); v > 0 && v < 1e5 {
		t.FocalLengthMM = v
	}
	if v := number(got["SubjectDistance"]); v > 0 && v < 1e5 {
		t.Focus = fmt.Sprintf("%.3g m", v)
	}
	return t
}

func text(v any) string {
	s, _ := v.(string)
	return strings.TrimSpace(strings.TrimRight(s, "\x00"))
}

// number is a tag's value as a number, NaN where it is none.
func number(v any) float64 {
	switch x := v.(type) {
	case interface{ Float64() float64 }:
		return x.Float64()
	case float64:
		return x
	case uint32:
		return float64(x)
	case uint16:
		return float64(x)
	}
	return math.NaN()
}
