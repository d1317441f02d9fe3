package ucum

import "testing"

func TestCode(t *testing.T) {
	for text, want := range map[string]string{
		"mAU·s": "m{AU}.s", "µg/L": "ug/L", "μg/l": "ug/L", "min": "min", "% vol": "%{vol}", "g/cm³": "g/cm3",
		"cps": "{counts}/s", "‰": "[ppth]", "°C": "Cel", "ppb": "", "": "", "furlong": "",
	} {
		if got := Code(text); got != want {
			t.Errorf("%q has the code %q, want %q", text, got, want)
		}
		if want != "" && Code(want) != want {
			t.Errorf("the code %q does not give itself", want)
		}
	}
}
