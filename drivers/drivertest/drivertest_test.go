package drivertest

import (
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"
)

// defectVariable makes TestSoundDriver run the suite over a driver with the defect that it names.
const defectVariable = "DIMWATCH_DRIVERTEST_DEFECT"

// TestSoundDriver: a driver that keeps the contract passes, live and as a recording.
func TestSoundDriver(t *testing.T) {
	defect := os.Getenv(defectVariable)
	if defect != "" {
		recovery, slack = 200*time.Millisecond, time.Second
	}
	t.Run("live", func(t *testing.T) { Run(t, rig(defect, 0)) })
	t.Run("recorded", func(t *testing.T) { Run(t, rig(defect, 5)) })
}

// TestDefectsAreFound: the suite fails over a driver with a defect, in the row that is about it.
func TestDefectsAreFound(t *testing.T) {
	if os.Getenv(defectVariable) != "" {
		return
	}
	for defect, row := range map[string]string{
		"wrong order":                    "live/values",
		"leaves an element out":          "live/values",
		"no time":                        "live/values",
		"time of another day":            "live/time",
		"one bad point spoils all":       "live/one_bad_point",
		"no reason":                      "live/one_bad_point",
		"opens early":                    "live/open_offline",
		"accepts an empty block":         "live/nothing_in_the_device_block",
		"ignores unknown keys":           "live/every_mistake",
		"reports the first mistake only": "live/every_mistake",
		"sources out of order":           "live/two_devices",
		"keeps out":                      "live/out_is_not_kept",
		"no plan":                        "live/plan",
		"counts go back":                 "live/counts",
		"deaf to its context":            "live/deadline",
		"believes late answers":          "live/late_answers",
		"good beside an error":           "live/cut_and_restored",
		"error of its own":               "live/cut_and_restored",
		"never recovers":                 "live/cut_and_restored",
		"believes garbage":               "live/garbled_answers",
		"never ends":                     "recorded/end",
		"closes once":                    "live/close",
		"reads when closed":              "live/close",
		"leaves something running":       "live/nothing_left",
	} {
		t.Run(defect, func(t *testing.T) {
			t.Parallel()
			kind, name, _ := strings.Cut(row, "/")
			cmd := exec.Command(os.Args[0], "-test.v", "-test.run=^TestSoundDriver$/^"+kind+"$/^"+name+"$")
			cmd.Env = append(os.Environ(), defectVariable+"="+defect)
			out, err := cmd.CombinedOutput()
			if err == nil || !strings.Contains(string(out), "--- FAIL: TestSoundDriver/"+row) {
				t.Errorf("not found in row %s: %v\n%s", row, err, out)
			}
		})
	}
}
