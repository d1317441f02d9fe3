package scenario

import (
	"bytes"
	"compress/zlib"
	"crypto/sha1"
	"encoding/base64"
	"encoding/binary"
	"encoding/xml"
	"fmt"
	"time"
)

// mzMLFile writes an injection of the liquid chromatograph as mzML 1.1 with an index and
// checksum: one absorption chromatogram, times in 64 and absorbances in 32 bits.
func mzMLFile(p *plan, e *entry, n noise) ([]byte, error) {
	minutes, signal := chromatogram(e, n)
	single := make([]float32, len(signal))
	for i, v := range signal {
		single[i] = float32(v / 1000) // absorbance units
	}
	times, err := packed(minutes)
	if err != nil {
		return nil, fmt.Errorf("pack times: %w", err)
	}
	values, err := packed(single)
	if err != nil {
		return nil, fmt.Errorf("pack absorbances: %w", err)
	}
	var title bytes.Buffer
	if err := xml.EscapeText(&title, []byte(e.title())); err != nil {
		return nil, err
	}

	var out bytes.Buffer
	fmt.Fprintf(&out, mzMLHead, p.name, e.position, title.String(), p.name, e.position, e.start.Add(-zoneOffset).Format(time.RFC3339))
	offset := out.Len() + len("        ")
	fmt.Fprintf(&out, mzMLChromatogram, len(minutes), len(times), times, len(values), values)
	out.WriteString("      </chromatogramList>\n    </run>\n  </mzML>\n")
	list := out.Len() + len("  ")
	fmt.Fprintf(&out, mzMLIndex, offset, list)
	fmt.Fprintf(&out, "%x</fileChecksum>\n</indexedmzML>\n", sha1.Sum(out.Bytes()))
	return out.Bytes(), nil
}

// packed gives numbers as little endian bytes, compressed with zlib, in base64.
func packed[T float32 | float64](numbers []T) (string, error) {
	var out bytes.Buffer
	w := zlib.NewWriter(&out)
	if err := binary.Write(w, binary.LittleEndian, numbers); err != nil {
		return "", err
	}
	if err := w.Close(); err != nil {
		return "", err
	}
	return base64.StdEncoding.EncodeToString(out.Bytes()), nil
}

// mzMLHead takes batch, position, title, batch, position and start.
const mzMLHead = `<?xml version="1.0" encoding="UTF-8"?>
<indexedmzML xmlns="http://psi.hupo.org/ms/mzml" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" xsi:schemaLocation="http://psi.hupo.org/ms/mzml http://psidev.info/files/ms/mzML/xsd/mzML1.1.0_idx.xsd">
  <mzML xmlns="http://psi.hupo.org/ms/mzml" id="%s_%02d" version="1.1.0">
    <cvList count="2">
      <cv id="MS" fullName="Proteomics Standards Initiative Mass Spectrometry Ontology" version="4.1.0" URI="https://raw.githubusercontent.com/HUPO-PSI/psi-ms-CV/master/psi-ms.obo"/>
      <cv id="UO" fullName="Unit Ontology" version="09:04:2014" URI="https://raw.githubusercontent.com/bio-ontology-research-group/unit-ontology/master/unit.obo"/>
    </cvList>
    <fileDescription>
      <fileContent>
        <cvParam cvRef="MS" accession="MS:1000812" name="absorption chromatogram" value=""/>
      </fileContent>
    </fileDescription>
    <sampleList count="1">
      <sample id="sample" name="%s"/>
    </sampleList>
    <softwareList count="1">
      <software id="export" version="1">
        <cvParam cvRef="MS" accession="MS:1000799" name="custom unreleased software tool" value="demonstration, invented data"/>
      </software>
    </softwareList>
    <instrumentConfigurationList count="1">
      <instrumentConfiguration id="LC-1">
        <cvParam cvRef="MS" accession="MS:1000031" name="instrument model" value=""/>
        <userParam name="remark" value="invented instrument"/>
      </instrumentConfiguration>
    </instrumentConfigurationList>
    <dataProcessingList count="1">
      <dataProcessing id="conversion">
        <processingMethod order="0" softwareRef="export">
          <cvParam cvRef="MS" accession="MS:1000544" name="Conversion to mzML" value=""/>
        </processingMethod>
      </dataProcessing>
    </dataProcessingList>
    <run id="%s_%02d" defaultInstrumentConfigurationRef="LC-1" sampleRef="sample" startTimeStamp="%s">
      <chromatogramList count="1" defaultDataProcessingRef="conversion">
`

// mzMLChromatogram takes the number of points, and length and text of both arrays.
const mzMLChromatogram = `        <chromatogram index="0" id="absorption 280 nm" defaultArrayLength="%d">
          <cvParam cvRef="MS" accession="MS:1000812" name="absorption chromatogram" value=""/>
          <cvParam cvRef="MS" accession="MS:1000619" name="lowest observed wavelength" value="280" unitCvRef="UO" unitAccession="UO:0000018" unitName="nanometer"/>
          <cvParam cvRef="MS" accession="MS:1000618" name="highest observed wavelength" value="280" unitCvRef="UO" unitAccession="UO:0000018" unitName="nanometer"/>
          <binaryDataArrayList count="2">
            <binaryDataArray encodedLength="%d">
              <cvParam cvRef="MS" accession="MS:1000523" name="64-bit float" value=""/>
              <cvParam cvRef="MS" accession="MS:1000574" name="zlib compression" value=""/>
              <cvParam cvRef="MS" accession="MS:1000595" name="time array" value="" unitCvRef="UO" unitAccession="UO:0000031" unitName="minute"/>
              <binary>%s</binary>
            </binaryDataArray>
            <binaryDataArray encodedLength="%d">
              <cvParam cvRef="MS" accession="MS:1000521" name="32-bit float" value=""/>
              <cvParam cvRef="MS" accession="MS:1000574" name="zlib compression" value=""/>
              <cvParam cvRef="MS" accession="MS:1000515" name="intensity array" value="" unitCvRef="UO" unitAccession="UO:0000269" unitName="absorbance unit"/>
              <binary>%s</binary>
            </binaryDataArray>
          </binaryDataArrayList>
        </chromatogram>
`

// mzMLIndex takes the offsets of the chromatogram and of the index.
const mzMLIndex = `  <indexList count="1">
    <index name="chromatogram">
      <offset idRef="absorption 280 nm">%d</offset>
    </index>
  </indexList>
  <indexListOffset>%d</indexListOffset>
  <fileChecksum>`
