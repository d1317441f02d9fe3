package located

import "strings"

// IsCAS tells whether text is a CAS registry number with a right check digit: the sum
// of the digits before it, each times its place from the right, modulo 10.
func IsCAS(text string) bool {
	parts := strings.Split(text, "-")
	if len(parts) != 3 || len(parts[0]) < 2 || len(parts[0]) > 7 || len(parts[1]) != 2 || len(parts[2]) != 1 {
		return false
	}
	digits, sum := parts[0]+parts[1], 0
	for i := range len(digits) {
		if digits[i] < '0' || digits[i] > '9' {
			return false
		}
		sum += int(digits[i]-'0') * (len(digits) - i)
	}
	return parts[2][0] == byte('0'+sum%10)
}
