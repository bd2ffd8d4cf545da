package store

import (
	"bufio"
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"
	"time"
)

// TestMain lets this binary be the process that is killed.
func TestMain(m *testing.M) {
	if dir := os.Getenv("DIMWATCH_TEST_STORE"); dir != "" {
		commitForEver(dir)
	}
	os.Exit(m.Run())
}

// commitForEver counts up in both records from what the file has, and prints each number once it is committed.
func commitForEver(dir string) {
	s, aside, err := Open(dir, time.Now())
	if err != nil || aside != "" {
		fmt.Fprintln(os.Stdout, "failed:", err, aside)
		os.Exit(1)
	}
	n, err := counted(s)
	if err != nil {
		fmt.Fprintln(os.Stdout, "failed:", err)
		os.Exit(1)
	}
	for range 100_000 {
		n++
		text := []byte(strconv.Itoa(n) + " ")
		if err := s.Commit("harbor-12", map[Record][]byte{Judgement: bytes.Repeat(text, 20_000), Energy: text}); err != nil {
			fmt.Fprintln(os.Stdout, "failed:", err)
			os.Exit(1)
		}
		fmt.Fprintln(os.Stdout, n)
	}
}

// counted is the number that a file has, and demands that both records have the same.
func counted(s *Store) (int, error) {
	records, err := s.Load("harbor-12")
	if err != nil || len(records) == 0 {
		return 0, err
	}
	first, _, _ := bytes.Cut(records[Judgement], []byte(" "))
	n, err := strconv.Atoi(string(first))
	if err == nil && (string(records[Energy]) != string(first)+" " || !bytes.Equal(records[Judgement], bytes.Repeat(records[Energy], 20_000))) {
		err = fmt.Errorf("half of a commit: %.20q, %q", records[Judgement], records[Energy])
	}
	return n, err
}

// A process that commits without a pause is killed at random instants: the file always opens, has the last commit that was
// reported, or the one after it, whole. DIMWATCH_KILLS says how often, 20 times where it does not.
func TestKilled(t *testing.T) {
	kills := 20
	if n, err := strconv.Atoi(os.Getenv("DIMWATCH_KILLS")); err == nil {
		kills = n
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	dir, last := t.TempDir(), 0
	for kill := range kills {
		child := exec.Command(self)
		child.Env = append(os.Environ(), "DIMWATCH_TEST_STORE="+dir)
		out, err := child.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := child.Start(); err != nil {
			t.Fatal(err)
		}
		go func() {
			time.Sleep(time.Duration(rand.Int64N(int64(150 * time.Millisecond))))
			_ = child.Process.Kill()
		}()
		for lines := bufio.NewScanner(out); lines.Scan(); {
			if strings.HasPrefix(lines.Text(), "failed") {
				t.Errorf("kill %d: %s", kill, lines.Text())
			} else if n, err := strconv.Atoi(lines.Text()); err == nil {
				last = n
			}
		}
		_ = child.Wait()
		s := opened(t, dir)
		n, err := counted(s)
		if err != nil {
			t.Fatalf("kill %d: %v", kill, err)
		}
		if n != last && n != last+1 {
			t.Fatalf("kill %d: the file has %d after %d was reported", kill, n, last)
		}
		last = n
		s.Close()
	}
	t.Logf("%d kills, %d commits", kills, last)
	if last < kills {
		t.Errorf("only %d commits: the test shows nothing", last)
	}
}
