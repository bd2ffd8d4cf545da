package main

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
)

func TestMain(m *testing.M) {
	// A process of this binary under the program's name keeps its state more often where a test says so.
	if every, err := time.ParseDuration(os.Getenv("DIMWATCH_TEST_KEEP")); err == nil {
		stateEvery, energyEvery = every, every
	}
	testscript.Main(m, map[string]func(){"dimwatch": main})
}

// The commands as people call them: each script runs the whole program.
func TestCommands(t *testing.T) {
	configs, err := filepath.Abs("../configs")
	if err != nil {
		t.Fatal(err)
	}
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script",
		Setup: func(env *testscript.Env) error {
			env.Setenv("CONFIGS", configs)
			return nil
		},
		UpdateScripts: os.Getenv("DIMWATCH_UPDATE_SCRIPTS") != "",
	})
}
