package located

// TopLevel gives the keys of a YAML document's outermost mapping with their values as
// written; the value of a key that holds a list or mapping is empty. It serves to
// recognise a document before its kind is known.
func TopLevel(file string, data []byte) (map[string]string, error) {
	d := &Document{File: file}
	body := d.parse(data)
	if body == nil {
		return nil, d.Err()
	}
	entries, ok := d.entries("", body)
	if !ok {
		return nil, d.Err()
	}
	keys := map[string]string{}
	for _, entry := range entries {
		text, _, _ := scalarText(entry.Value)
		keys[entry.Key.GetToken().Value] = text
	}
	return keys, nil
}
