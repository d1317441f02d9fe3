package mzml

import (
	"bytes"
	stdzlib "compress/zlib"
	"crypto/sha1"
	"encoding/base64"
	"encoding/binary"
	"fmt"
	"math"
	"strings"
	"unicode/utf16"
)

// A small writer of mzML for tests: it puts documents together from parts, so that a test
// shows the part that it is about.

const xmlns = ` xmlns="http://psi.hupo.org/ms/mzml"`

// document wraps the content of a run.
func document(run string) string {
	return `<?xml version="1.0" encoding="UTF-8"?>` + "\n<mzML" + xmlns + ` version="1.1.0">` + "\n" +
		`<run id="run 1" startTimeStamp="2031-05-06T07:08:09Z">` + "\n" + run + "\n</run>\n</mzML>\n"
}

func cv(accession, value string) string {
	return fmt.Sprintf(`<cvParam cvRef="MS" accession="%s" name="any name" value="%s"/>`, accession, value)
}

func cvUnit(accession, value, unit string) string {
	return fmt.Sprintf(`<cvParam cvRef="MS" accession="%s" name="any name" value="%s" unitAccession="%s" unitName="unit"/>`, accession, value, unit)
}

const (
	f64     = "MS:1000523"
	f32     = "MS:1000521"
	i64     = "MS:1000522"
	i32     = "MS:1000519"
	plain   = "MS:1000576"
	deflate = "MS:1000574"
)

func packF64(values ...float64) []byte {
	var b []byte
	for _, v := range values {
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(v))
	}
	return b
}

func packF32(values ...float64) []byte {
	var b []byte
	for _, v := range values {
		b = binary.LittleEndian.AppendUint32(b, math.Float32bits(float32(v)))
	}
	return b
}

func squeeze(b []byte) []byte {
	var out bytes.Buffer
	w := stdzlib.NewWriter(&out)
	w.Write(b)
	w.Close()
	return out.Bytes()
}

// arrayElement is one binaryDataArray with the terms given.
func arrayElement(payload []byte, terms ...string) string {
	text := base64.StdEncoding.EncodeToString(payload)
	return rawArray(fmt.Sprintf(` encodedLength="%d"`, len(text)), "<binary>"+text+"</binary>", terms...)
}

func rawArray(attributes, binary string, terms ...string) string {
	var b strings.Builder
	for _, t := range terms {
		if !strings.HasPrefix(t, "<") {
			t = cv(t, "")
		}
		b.WriteString(t)
	}
	return "<binaryDataArray" + attributes + ">" + b.String() + binary + "</binaryDataArray>"
}

func mzArray(values ...float64) string {
	return arrayElement(packF64(values...), f64, plain, cvUnit("MS:1000514", "", "MS:1000040"))
}

func intensityArray(values ...float64) string {
	return arrayElement(packF32(values...), f32, plain, cvUnit("MS:1000515", "", "MS:1000131"))
}

func timeArray(unit string, values ...float64) string {
	return arrayElement(packF64(values...), f64, plain, cvUnit("MS:1000595", "", unit))
}

// spectrumElement is one spectrum; inner are its terms and scan list.
func spectrumElement(index, length int, inner string, arrays ...string) string {
	return fmt.Sprintf(`<spectrum index="%d" id="scan=%d" defaultArrayLength="%d">%s<binaryDataArrayList count="%d">%s</binaryDataArrayList></spectrum>`,
		index, index+1, length, inner, len(arrays), strings.Join(arrays, ""))
}

func chromatogramElement(index, length int, inner string, arrays ...string) string {
	return fmt.Sprintf(`<chromatogram index="%d" id="trace %d" defaultArrayLength="%d">%s<binaryDataArrayList count="%d">%s</binaryDataArrayList></chromatogram>`,
		index, index, length, inner, len(arrays), strings.Join(arrays, ""))
}

func spectrumList(spectra ...string) string {
	return fmt.Sprintf("<spectrumList count=\"%d\">\n%s\n</spectrumList>", len(spectra), strings.Join(spectra, "\n"))
}

func chromatogramList(traces ...string) string {
	return fmt.Sprintf("<chromatogramList count=\"%d\">\n%s\n</chromatogramList>", len(traces), strings.Join(traces, "\n"))
}

// oneSpectrum is a document with one spectrum of the given arrays and length 3.
func oneSpectrum(arrays ...string) string {
	return document(spectrumList(spectrumElement(0, 3, "", arrays...)))
}

// wide gives text in UTF-16, little endian.
func wide(text string) string {
	var b []byte
	for _, u := range utf16.Encode([]rune(text)) {
		b = append(b, byte(u), byte(u>>8))
	}
	return string(b)
}

func sha1Hex(b []byte) string { return fmt.Sprintf("%x", sha1.Sum(b)) }
