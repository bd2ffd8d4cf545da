package main

import (
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"syscall"
	"testing"
	"time"
)

// The web configuration of the toolkit that other exporters have: users and their passwords. It is checked at the start.
func TestWebConfig(t *testing.T) {
	dir := t.TempDir()
	site, users := filepath.Join(dir, "site.hcl"), filepath.Join(dir, "web.yml")
	write(t, site, siteText("127.0.0.1:1", "aisles-1-4")+"agent {\n  web_config = \"web.yml\"\n}\n")
	// The password is "open sesame", with the least cost so that the test is quick.
	write(t, users, "basic_auth_users:\n  technician: $2a$04$CUn85NEtVd6Vth84r5i6guLywRvpCzeTAPkoL8TsCdzlJTAmBnKKu\n")
	p := startProcess(t, nil, "watch", "-config", site, "--web.listen-address", "127.0.0.1:0")
	p.await(t, `"msg":"Listening on"`)
	url := "http://" + regexp.MustCompile(`"Listening on","address":"([^"]+)"`).FindStringSubmatch(p.log.String())[1] + "/metrics"
	for _, c := range []struct {
		user, password string
		status         int
	}{{"", "", 401}, {"technician", "wrong", 401}, {"technician", "open sesame", 200}} {
		request, err := http.NewRequestWithContext(t.Context(), "GET", url, nil)
		if err != nil {
			t.Fatal(err)
		}
		if c.user != "" {
			request.SetBasicAuth(c.user, c.password)
		}
		r, err := http.DefaultClient.Do(request)
		if err != nil {
			t.Fatal(err)
		}
		r.Body.Close()
		if r.StatusCode != c.status {
			t.Errorf("user %q with password %q: %d, want %d", c.user, c.password, r.StatusCode, c.status)
		}
	}
	http.DefaultClient.CloseIdleConnections()
	p.ends(t, syscall.SIGTERM)

	write(t, users, "basic_auth_users:\n  technician: open sesame\n")
	bad := startProcess(t, nil, "watch", "-config", site, "--web.listen-address", "127.0.0.1:0")
	if err := bad.Wait(); err == nil {
		t.Error("a password in clear was taken")
	}
}

// With --web.systemd-socket the daemon serves on the socket that it is given. Source: sd_listen_fds(3).
func TestSystemdSocket(t *testing.T) {
	if runtime.GOOS != "linux" {
		t.Skip("skipped: systemd is Linux's")
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	socket, err := l.(*net.TCPListener).File()
	if err != nil {
		t.Fatal(err)
	}
	defer socket.Close()
	address := l.Addr().String()
	l.Close() // the copy stays open

	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	site := filepath.Join(t.TempDir(), "site.hcl")
	write(t, site, siteText("127.0.0.1:1", "aisles-1-4"))
	link := filepath.Join(t.TempDir(), "dimwatch") // the shell cannot set the first argument, so the program gets its name
	if err := os.Symlink(self, link); err != nil {
		t.Fatal(err)
	}
	p := &process{Cmd: exec.CommandContext(t.Context(), "sh", "-c", `LISTEN_FDS=1 LISTEN_PID=$$ exec "$0" watch -config "$1" --web.systemd-socket`, link, site)}
	p.ExtraFiles = []*os.File{socket}
	p.Stdout, p.Stderr = &p.out, &p.log
	if err := p.Start(); err != nil {
		t.Fatal(err)
	}
	client := http.Client{Timeout: 20 * time.Second}
	r, err := client.Get("http://" + address + "/healthz")
	if err != nil {
		t.Fatalf("%v\n%s", err, &p.log)
	}
	r.Body.Close()
	client.CloseIdleConnections()
	if r.StatusCode != 200 {
		t.Errorf("/healthz: %d", r.StatusCode)
	}
	p.ends(t, syscall.SIGTERM)
}
