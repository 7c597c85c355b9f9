package bench

import (
	"cmp"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"time"

	"finishbench/internal/part"

	"golang.org/x/term"

	"finishbench/internal/cli"
	"finishbench/internal/files"
	"finishbench/internal/lang"
	"finishbench/internal/people"
)

// Serving is how the page is reached, and in which languages.
type Serving struct {
	Listen          string   // address and port
	Hosts           []string // further names by which browsers call this machine
	LanguagesFolder string   // with further languages; "": none
	Language        string   // of browsers that ask for none; "": what the environment asks for
	PedalKeys       []string
	PassphraseFile  string // with its hash; "": beside the station file, else here
	StationFile     string
	Cert, Key       string // files for https, PEM; "": http
}

// Serve shows the page until ctx ends; then what is being written is finished. first and
// follow are the unit that is asked for first, and how the next one follows it; where
// says where the records are. ready, where it is not nil, is told the page's address.
func (o Serving) Serve(ctx context.Context, parts Parts, access Options, first part.UnitInfo, follow, where string, stdout io.Writer,
	ready func(string)) error {
	languages, lacking, err := lang.Load(o.LanguagesFolder)
	if err != nil {
		return cli.UsageError{Err: err}
	}
	for tag, n := range lacking {
		fmt.Fprintf(stdout, "language %s: %d texts are missing and shown in English\n", tag, n)
	}
	access.Languages, access.Language, access.PedalKeys = languages, cmp.Or(o.Language, cli.Asked()), o.PedalKeys
	l, err := net.Listen("tcp", o.Listen)
	if err != nil {
		return cli.Usagef("--listen %s: %w", o.Listen, err)
	}
	bench := NewStation(parts, first, follow)
	bench.Resume(ctx)
	stationDone := make(chan struct{})
	go func() { bench.Run(ctx); close(stationDone) }()
	server := &http.Server{
		Handler: NewServer(bench, access), ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 15 * time.Second,
		WriteTimeout: 30 * time.Second,
		IdleTimeout:  2 * time.Minute, MaxHeaderBytes: 32 << 10, ErrorLog: slog.NewLogLogger(slog.DiscardHandler, slog.LevelError),
	}
	scheme := "http"
	if o.Cert != "" {
		cert, err := tls.LoadX509KeyPair(o.Cert, o.Key)
		if err != nil {
			return cli.Usagef("--tls-cert, --tls-key: %w", err)
		}
		server.TLSConfig = &tls.Config{Certificates: []tls.Certificate{cert}, MinVersion: tls.VersionTLS12}
		l, scheme = tls.NewListener(l, server.TLSConfig), "https"
	}
	url := scheme + "://" + l.Addr().String() + "/"
	fmt.Fprintf(stdout, "The bench is open: %s\nrecords: %s\nctrl-C ends it.\n", url, where)
	if ready != nil {
		ready(url)
	}
	failed := make(chan error, 1)
	go func() { failed <- server.Serve(l) }()
	select {
	case err = <-failed:
		return fmt.Errorf("the page cannot be served any more: %w", err)
	case <-ctx.Done():
	}
	<-stationDone // what was answered is written
	end, stop := context.WithTimeout(context.Background(), 3*time.Second)
	defer stop()
	if server.Shutdown(end) != nil {
		_ = server.Close()
	}
	return nil
}

// Access says who is let in. What is wrong with it is wrong usage.
func (o Serving) Access() (Options, error) {
	a := Options{Hosts: o.Hosts, Secure: o.Cert != ""}
	if (o.Cert == "") != (o.Key == "") {
		return a, cli.Usagef("--tls-cert and --tls-key go together")
	}
	host, _, err := net.SplitHostPort(o.Listen)
	if err != nil {
		return a, cli.Usagef("--listen %s: give address and port, such as 192.168.1.20:8080", o.Listen)
	}
	if name, err := os.Hostname(); err == nil {
		a.Hosts = append(a.Hosts, name, name+".local")
	}
	ip := net.ParseIP(host)
	if ip == nil && host != "" && host != "localhost" {
		a.Hosts = append(a.Hosts, host)
	}
	file := o.passphraseFile()
	data, err := files.Read(file, files.MostText)
	own := host == "localhost" || ip != nil && ip.IsLoopback()
	switch {
	case err == nil:
		if a.Passphrase, err = people.ParseHash(string(data)); err != nil {
			return a, cli.Usagef("%s is no passphrase file: make one with inspect bench --set-passphrase: %w", file, err)
		}
	case own && o.PassphraseFile == "" && errors.Is(err, os.ErrNotExist):
	case errors.Is(err, os.ErrNotExist):
		return a, cli.Usagef("--listen %s lets other machines in, so a passphrase is needed: make one with 'inspect bench "+
			"--set-passphrase' (%s is not there)", o.Listen, file)
	default:
		return a, cli.Usagef("%s: %w", file, cli.PlainPath(err))
	}
	file = o.PeopleFile()
	if a.People, err = people.Open(file); err != nil && !errors.Is(err, os.ErrNotExist) {
		return a, cli.Usagef("%s: %w", file, cli.PlainPath(err))
	}
	return a, nil
}

// PeopleFile is where the station's people lie.
func (o Serving) PeopleFile() string { return o.beside(people.FileName) }

// beside is a file beside the station file; without one, here.
func (o Serving) beside(name string) string {
	if o.StationFile != "" {
		return filepath.Join(filepath.Dir(o.StationFile), name)
	}
	return name
}

// passphraseFile is where the passphrase's hash lies.
func (o Serving) passphraseFile() string {
	if o.PassphraseFile != "" {
		return o.PassphraseFile
	}
	return o.beside("finishbench-passphrase")
}

// SetPassphrase asks for a passphrase, twice at a terminal, and writes its hash.
func (o Serving) SetPassphrase(stdin io.Reader, stdout io.Writer) error {
	file := o.passphraseFile()
	phrase, err := AskSecret("New passphrase: ", stdin, stdout)
	if err != nil {
		return err
	}
	line, err := people.HashPassphrase(phrase)
	if err != nil {
		return cli.UsageError{Err: err}
	}
	if err := files.Replace(file, []byte(line+"\n")); err != nil {
		return fmt.Errorf("%s cannot be written: %w", file, cli.PlainPath(err))
	}
	fmt.Fprintf(stdout, "the passphrase's hash is in %s\n", file)
	return nil
}

// AskSecret asks for a passphrase or PIN: twice at a terminal, else it is the first line that comes.
func AskSecret(ask string, stdin io.Reader, stdout io.Writer) (string, error) {
	f, ok := stdin.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		b, err := io.ReadAll(io.LimitReader(stdin, 4096))
		first, _, _ := strings.Cut(string(b), "\n")
		return strings.TrimSuffix(first, "\r"), err
	}
	var said [2]string
	for i, ask := range []string{ask, "Once more: "} {
		fmt.Fprint(stdout, ask)
		b, err := term.ReadPassword(int(f.Fd()))
		fmt.Fprintln(stdout)
		if err != nil {
			return "", err
		}
		said[i] = string(b)
	}
	if said[0] != said[1] {
		return "", cli.Usagef("the two are not the same; nothing was written")
	}
	return said[0], nil
}
