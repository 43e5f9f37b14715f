package photo

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode"

	"thirdstop/testdata"
)

// onRealFiles runs a check on the camera files with the given endings: those the
// goexif module carries, which are always there, and those of the collection.
func onRealFiles(t *testing.T, endings []string, check func(*testing.T, []string)) {
	match := func(f string) bool { return slices.Contains(endings, strings.ToLower(filepath.Ext(f))) }
	if files := slices.DeleteFunc(testdata.Samples(t), func(f string) bool { return !match(f) }); len(files) > 0 {
		t.Run("samples", func(t *testing.T) { check(t, files) })
	}
	t.Run("collection", func(t *testing.T) {
		var files []string
		err := filepath.WalkDir(testdata.Photos(t), func(f string, _ fs.DirEntry, err error) error {
			if err == nil && match(f) {
				files = append(files, f)
			}
			return err
		})
		if err != nil || len(files) == 0 {
			t.Fatalf("no file of %v in the collection: %v", endings, err)
		}
		check(t, testdata.Some(files, 5))
	})
}

// short is a file's name with its folder, which is how exceptions are listed.
func short(f string) string {
	return filepath.Base(filepath.Dir(f)) + "/" + filepath.Base(f)
}

func mustRead(t testing.TB, f string) []byte {
	t.Helper()
	data, err := os.ReadFile(f)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// reference asks ExifTool, a general-purpose reader of its own lineage, for the
// values of many files at once, as plain numbers.
func reference(t *testing.T, files []string) map[string]map[string]any {
	t.Helper()
	args := []string{"-j", "-n"}
	for _, tag := range exifTags {
		args = append(args, "-"+tag)
	}
	out, err := exec.Command(testdata.Tool(t, "exiftool"), append(args, files...)...).Output()
	var answers []map[string]any
	dec := json.NewDecoder(bytes.NewReader(out))
	dec.UseNumber() // a serial number is no number
	if jerr := dec.Decode(&answers); jerr != nil {
		t.Fatalf("exiftool answered %q: %v, %v", out, err, jerr)
	}
	byFile := map[string]map[string]any{}
	for _, a := range answers {
		byFile[filepath.FromSlash(a["SourceFile"].(string))] = a
	}
	return byFile
}

// exifTags is what is compared. The group EXIF leaves out what ExifTool takes from
// maker notes, which this package doesn't read.
var exifTags = []string{
	"EXIF:ExposureTime", "EXIF:FNumber", "EXIF:ISO", "EXIF:FocalLength", "EXIF:Flash",
	"EXIF:ExposureProgram", "EXIF:ExposureMode", "EXIF:WhiteBalance", "EXIF:Orientation", "EXIF:DateTimeOriginal",
	"EXIF:SubSecTimeOriginal", "EXIF:OffsetTimeOriginal", "EXIF:CreateDate", "EXIF:SubSecTimeDigitized",
	"EXIF:OffsetTimeDigitized", "EXIF:ModifyDate", "EXIF:SubSecTime", "EXIF:OffsetTime", "EXIF:Make", "EXIF:Model",
	"EXIF:FocalLengthIn35mmFormat", "EXIF:CompositeImage",
	"EXIF:LensModel", "EXIF:SerialNumber", "EXIF:CameraSerialNumber", "EXIF:Software",
}

// ours is the same from this package; a value that was not recorded is missing.
func ours(e Exif) map[string]string {
	m := map[string]string{}
	number := func(name string, v float64, has bool) {
		if has {
			m[name] = strconv.FormatFloat(v, 'g', -1, 64)
		}
	}
	text := func(name, v string) {
		if v != "" {
			m[name] = v
		}
	}
	number("ExposureTime", float64(e.ExposureTime), e.ExposureTime != 0)
	number("FNumber", float64(e.FNumber), e.FNumber != 0)
	number("ISO", float64(e.ISO), e.ISO != 0)
	number("FocalLength", e.FocalLength, e.FocalLength != 0)
	number("FocalLengthIn35mmFormat", float64(e.FocalLength35), e.FocalLength35 != 0)
	number("CompositeImage", float64(e.Composite), e.Composite != 0)
	number("Flash", float64(e.Flash), e.HasFlash)
	number("ExposureProgram", float64(e.Program), e.HasProgram)
	number("ExposureMode", float64(e.ExposureMode), e.HasExposureMode)
	number("WhiteBalance", float64(e.WhiteBalance), e.HasWhiteBalance)
	number("Orientation", float64(e.Orientation), e.Orientation != 0)
	text("Make", e.Make)
	text("Model", e.Model)
	text("LensModel", e.Lens)
	text("SerialNumber", e.Serial)
	text("Software", e.Software)
	text("taken", e.TakenText)
	return m
}

// theirs puts ExifTool's answer into the same form: the first date there is, its
// sub-seconds and its offset become one RFC 3339 text. Zero exposure times and
// the like, and values without a letter or digit, count as not recorded.
func theirs(a map[string]any) map[string]string {
	all := map[string]string{}
	for k, v := range a {
		if s := strings.TrimSpace(fmt.Sprint(v)); strings.ContainsFunc(s, unicode.IsLetter) || strings.ContainsFunc(s, unicode.IsDigit) {
			all[k] = s
		}
	}
	m := map[string]string{}
	for _, k := range []string{"Flash", "ExposureProgram", "ExposureMode", "WhiteBalance", "Orientation", "Make", "Model", "LensModel", "SerialNumber", "Software"} {
		if v, ok := all[k]; ok {
			m[k] = v
		}
	}
	if m["SerialNumber"] == "" && all["CameraSerialNumber"] != "" { // DNG's own tag for it
		m["SerialNumber"] = all["CameraSerialNumber"]
	}
	for _, k := range []string{"ExposureTime", "FNumber", "ISO", "FocalLength", "FocalLengthIn35mmFormat", "CompositeImage"} {
		if v := all[k]; v != "0" && v != "undef" && v != "inf" && v != "" {
			m[k] = v
		}
	}
	if m["Orientation"] == "0" { // not one of the eight
		delete(m, "Orientation")
	}
	for _, names := range [][3]string{
		{"DateTimeOriginal", "SubSecTimeOriginal", "OffsetTimeOriginal"},
		{"CreateDate", "SubSecTimeDigitized", "OffsetTimeDigitized"},
		{"ModifyDate", "SubSecTime", "OffsetTime"},
	} {
		date := all[names[0]]
		if date == "" || strings.HasPrefix(date, "0000") {
			continue
		}
		date = strings.Replace(strings.Replace(date, ":", "-", 2), " ", "T", 1)
		if sub := all[names[1]]; sub != "" {
			date += "." + sub
		}
		m["taken"] = date + strings.Replace(all[names[2]], "+00:00", "Z", 1)
		break
	}
	return m
}

// closed is a JPEG that ends in the middle of a segment, cut after the last whole
// one and ended: most of the module's samples are heads of files, and ExifTool
// reads no segment of a file whose next segment is cut short.
func closed(data []byte) []byte {
	at := 2
	for at+4 <= len(data) && data[at] == 0xFF {
		next := at + 2 + int(data[at+2])<<8 + int(data[at+3])
		if next > len(data) {
			break
		}
		at = next
	}
	return append(data[:at:at], 0xFF, 0xD9)
}

// sameValue compares numbers to ExifTool's 10 significant digits, all else to the letter.
func sameValue(a, b string) bool {
	x, err1 := strconv.ParseFloat(a, 64)
	y, err2 := strconv.ParseFloat(b, 64)
	return a == b || err1 == nil && err2 == nil && math.Abs(x-y) <= 1e-9*math.Abs(y)
}

// exceptions are the values that differ from ExifTool's, and why.
var exceptions = map[string]string{
	"samples/geodegrees_as_string.jpg Make":                 "blank in the first directory; the Exif directory, where it doesn't belong, has one",
	"goexif/geodegrees_as_string.jpg Make":                  "the same file",
	"exiv2/issue_857_coverage.raf":                          "fuzzed: no RAF header, and ExifTool reports a file format error too",
	"goexif/huge_tag_exif.jpg taken":                        "damaged on purpose: two dates, of which the first is garbage and wins here",
	"metadata-extractor-images/Nikon_D5000.jpg Orientation": "ExifTool takes the thumbnail's, since an editor dropped the picture's",
}

func TestExifEqualsExifTool(t *testing.T) {
	onRealFiles(t, []string{".jpg", ".jpeg", ".tif", ".cr2", ".cr3", ".nef", ".dng", ".raf", ".iiq"}, func(t *testing.T, files []string) {
		ask := slices.Clone(files)
		for i, f := range files {
			data := mustRead(t, f)
			if _, err := readJPEGHead(data); errors.Is(err, errShort) && data[0] == 0xFF {
				ask[i] = filepath.Join(t.TempDir(), filepath.Base(f))
				if err := os.WriteFile(ask[i], closed(data), 0o600); err != nil {
					t.Fatal(err)
				}
			}
		}
		answers := reference(t, ask)
		compared := 0
		for i, f := range files {
			data := mustRead(t, f)
			e, err := ReadExif(f, bytes.NewReader(data), int64(len(data)))
			if err != nil {
				if _, listed := exceptions[short(f)]; !listed {
					t.Errorf("%s: %v", short(f), err)
				}
				continue
			}
			got, want := ours(e), theirs(answers[ask[i]])
			names := slices.Sorted(maps.Keys(got))
			for k := range want {
				if _, ok := got[k]; !ok {
					names = append(names, k)
				}
			}
			for _, k := range names {
				compared++
				if why, ok := exceptions[short(f)+" "+k]; ok {
					if sameValue(got[k], want[k]) {
						t.Errorf("%s: %s agrees now, but is listed as an exception: %s", short(f), k, why)
					}
					continue
				}
				if !sameValue(got[k], want[k]) {
					t.Errorf("%s: %s = %q, want %q (ExifTool)", short(f), k, got[k], want[k])
				}
			}
		}
		t.Logf("%d values of %d files", compared, len(files))
	})
}

// Which of the real files are a phone's or a compact camera's, by model: none of a camera with exchangeable lenses is taken for one.
func TestPhonesAreToldFromCamerasWithExchangeableLenses(t *testing.T) {
	for file, own := range map[string]bool{
		"metadata-extractor-images/Apple_iPhone_5.jpg": true, "exif-samples/35-empty.jpg": true, // 8.0 and 4.8 times smaller than 24 x 36 mm
		"metadata-extractor-images/Nikon_D5000.jpg": false, "metadata-extractor-images/Nikon_D60.jpg": false, "metadata-extractor-images/Sigma_DP1.jpg": false,
		"exif-samples/32-lens_data.jpeg": false, "plain-backdrop-portraits/portrait-11.jpg": false,
	} {
		p, err := Read(file, mustRead(t, filepath.Join(testdata.Photos(t), file)))
		if err != nil {
			t.Fatal(err)
		}
		p.Release()
		if p.Labelled(LabelOwnTones) != own {
			t.Errorf("%s (%s): has tones of its own: %v, want %v", file, p.Exif.Model, !own, own)
		}
	}
}
