package worker

import (
	"fmt"

	"underbond/ingest/custody"
	"underbond/ingest/record"
	"underbond/parsers"
	"underbond/parsers/delimited"
	"underbond/qc"
	"underbond/qc/catalogue"
	"underbond/qc/document"
	"underbond/qc/method"
	"underbond/qc/register"
	"underbond/qc/standard"
	"underbond/qc/worklist"
)

// ReadDocument reads a method, profile, worklist, register or standards list. A
// document that is not right is a refusal that lists what is wrong, with places.
func ReadDocument(file string, hash custody.Hash, data []byte) (*record.Document, *parsers.Problem) {
	d, err := ParseDocument(file, hash, data)
	if err != nil {
		p := parsers.Refuse("document", parsers.Place{}, "%s", err)
		return nil, &p.Problem
	}
	return d, nil
}

// ParseDocument does as ReadDocument; its error is a document.Errors where the faults have places.
func ParseDocument(file string, hash custody.Hash, data []byte) (*record.Document, error) {
	kind, err := document.Detect(file, data)
	if err != nil {
		return nil, err
	}
	d := &record.Document{Kind: string(kind), Object: hash}
	var body any
	switch kind {
	case document.KindMethod:
		d.Method, err = ParseMethod(file, data)
		if err == nil {
			body, d.Name, d.Version, d.Author = d.Method, d.Method.Name, d.Method.Version, d.Method.ApprovedBy
		}
	case document.KindProfile:
		var p *delimited.Profile
		p, err = delimited.ParseProfile(file, data)
		if err == nil {
			body, d.Name, d.Version = p, p.Name, p.Version
		}
	case document.KindWorklist:
		d.Worklist, err = worklist.Parse(file, data)
		if err == nil {
			body, d.Name, d.Version, d.Author, d.Reason = d.Worklist, d.Worklist.Name, d.Worklist.Version, d.Worklist.Author, d.Worklist.Reason
		}
	case document.KindRegister:
		d.Register, err = register.Parse(file, data)
		if err == nil {
			body, d.Name, d.Version, d.Author, d.Reason = d.Register, d.Register.Name, d.Register.Version, d.Register.Author, d.Register.Reason
		}
	case document.KindStandards:
		d.Standards, err = standard.Parse(file, data)
		if err == nil {
			body, d.Name, d.Version, d.Author, d.Reason = d.Standards, d.Standards.Name, d.Standards.Version, d.Standards.Author, d.Standards.Reason
		}
	default:
		return nil, fmt.Errorf("%s: a %s is not a document for a watched folder", file, kind)
	}
	if err != nil {
		return nil, err
	}
	d.Body, err = qc.Canonical(body)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	return d, nil
}

// ParseMethod reads a method whose analytes the shipped catalogue knows.
func ParseMethod(file string, data []byte) (*method.Method, error) {
	return method.ParseKnown(file, data, shippedAnalyte)
}

// shippedAnalyte looks an analyte up in the catalogue that the program brings along.
func shippedAnalyte(name string) (method.Known, error) {
	entry, err := catalogue.Shipped().Find(name)
	if err != nil {
		return method.Known{}, err
	}
	known := method.Known{Name: entry.Name}
	if entry.CAS != "" {
		known.CAS = append([]string{entry.CAS}, entry.AlsoCAS...)
	}
	return known, nil
}
