package method

import "underbond/parsers/located"

// Parse reads and checks one method document. The error is a located.Errors with
// every fault found; a method that comes back without error can be evaluated as it is.
func Parse(file string, data []byte) (*Method, error) {
	c, err := parse(file, data)
	if err != nil {
		return nil, err
	}
	return c.method, nil
}

func parse(file string, data []byte) (*checker, error) {
	m := &Method{}
	doc := located.Decode(file, data, m)
	if len(doc.Faults) > 0 {
		return nil, doc.Err()
	}
	c := &checker{Document: doc, method: m}
	c.check()
	if err := doc.Err(); err != nil {
		return nil, err
	}
	return c, nil
}
