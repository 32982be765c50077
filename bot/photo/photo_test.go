package photo

import (
	"os"
	"path/filepath"
	"testing"
)

func TestImageType(t *testing.T) {
	box := func(brand string) string { return "\x00\x00\x00\x18ftyp" + brand + "\x00\x00\x00\x00mif1heic" }
	for _, test := range []struct{ name, head, want string }{
		{"JPEG", string(jpegFile), "image/jpeg"},
		{"PNG", "\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", "image/png"},
		{"WebP", "RIFF\x24\x00\x00\x00WEBPVP8 ", "image/webp"},
		{"GIF", "GIF89a\x01\x00", "image/gif"},
		{"HEIC", box("heic"), "image/heic"},
		{"HEIC of ten bits", box("heix"), "image/heic"},
		{"HEIF", box("mif1"), "image/heif"},
		{"AVIF", box("avif"), "image/avif"},
		{"TIFF", "II*\x00\x08\x00\x00\x00", "image/tiff"},
		{"TIFF of the other order", "MM\x00*\x00\x00\x00\x08", "image/tiff"},
		{"a film", box("isom"), ""},
		{"a film of a phone's", box("qt  "), ""},
		{"a PDF", "%PDF-1.7", ""},
		{"a table", "tag,size\nHP-01,L\n", ""},
		{"a table that begins as a bitmap does", "BM,1\n", ""},
		{"a web page", "<!DOCTYPE html>", ""},
		{"a drawing", `<?xml version="1.0"?><svg xmlns="http://www.w3.org/2000/svg">`, ""},
		{"nothing", "", ""},
		{"a box cut short", "\x00\x00\x00\x18ftyp", ""},
	} {
		if got := imageType([]byte(test.head)); got != test.want {
			t.Errorf("%s is %q, want %q", test.name, got, test.want)
		}
	}
	for _, name := range []string{"manometer.jpg", "bubbles.png", "worn-knee"} {
		if imageType(readPicture(t, name)) == "" {
			t.Errorf("%s is none", name)
		}
	}
}

// jpegFile is how a file of that kind begins.
var jpegFile = []byte("\xff\xd8\xff\xe0\x00\x10JFIF\x00 and what follows, invented")

// readPicture reads a picture that lies beside the scripts.
func readPicture(t *testing.T, name string) []byte {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("..", "..", "testdata", "scripts", name))
	if err != nil {
		t.Fatal(err)
	}
	return data
}
