package store_test

import (
	"fmt"
	"os"
	"testing"

	"go.uber.org/goleak"

	"underbond/sql/server/servertest"
)

func TestMain(m *testing.M) {
	code := m.Run()
	err := servertest.Stop()
	if err == nil && code == 0 {
		err = goleak.Find()
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		code = max(code, 1)
	}
	os.Exit(code)
}
