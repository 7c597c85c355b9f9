package people

import (
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func TestHashes(t *testing.T) {
	line, err := HashPIN("2580")
	if err != nil {
		t.Fatal(err)
	}
	h, err := ParseHash(line + "\n")
	if err != nil || !h.Right("2580") || h.Right("2581") || strings.Contains(line, "2580") {
		t.Error("the hash does not tell the PIN", line, err)
	}
	if other, _ := HashPIN("2580"); other == line {
		t.Error("two hashes of one PIN are alike: they have no salt")
	}
	for _, bad := range []string{"", "123", "1234567890123", "12a4", "１２３４", " 2580", "0000", "1234", "9876", "3456789"} {
		if _, err := HashPIN(bad); err == nil {
			t.Errorf("the PIN %q was taken", bad)
		}
	}
	for _, good := range []string{"0001"} {
		if _, err := HashPIN(good); err != nil {
			t.Errorf("%s: %v", good, err)
		}
	}
}

// pin is a line of the form of a hash, of no known PIN.
const pin = "$argon2id$v=19$m=8192,t=1,p=1$c2FsdCBvZiBhIHRlc3Q$AAAAAAAAAAAAAAAAAAAAAA"

func TestLists(t *testing.T) {
	ok := func() List {
		return List{{Name: "A. Berg", Badge: "B1", Role: Operator}, {Name: "C. Lind", Badge: "B2", Role: Inspector, PIN: pin},
			{Name: "E. Weg", Badge: "B1", Role: Operator, Removed: "2031-01-02"}, {Name: "名 字", Role: Administrator, PIN: pin}}
	}
	if err := ok().Check(); err != nil {
		t.Fatal(err)
	}
	l := ok()
	if l.Named("a. berg") != 0 || l.Named("") != -1 || l.Badged("B1") != 0 || l.Badged("") != -1 || l.Badged("b1") != -1 {
		t.Error("not found, or another")
	}
	l[0].Removed = "2031-01-03"
	if i := l.Badged("B1"); i < 0 || l[i].Removed == "" {
		t.Error("a badge that was given back is not known any more")
	}
	for name, c := range map[string]struct {
		change func(List) List
		says   string
	}{
		"one badge": {func(l List) List { l[1].Badge = "B1"; return l }, "same badge B1"},
		"one name":  {func(l List) List { l[1].Name = "a. BERG"; return l }, "two people are called"},
		"a removed name": {func(l List) List { return append(l, Person{Name: "E. Weg", Badge: "B9", Role: Operator}) },
			"two people are called"},
		"no name":           {func(l List) List { l[0].Name = ""; return l }, "is no name"},
		"blanks around":     {func(l List) List { l[0].Name = " A"; return l }, "is no name"},
		"two lines":         {func(l List) List { l[0].Name = "A\nB"; return l }, "is no name"},
		"a long name":       {func(l List) List { l[0].Name = strings.Repeat("n", 61); return l }, "is no name"},
		"a role":            {func(l List) List { l[0].Role = "boss"; return l }, `no role "boss"`},
		"no way in":         {func(l List) List { l[0].Badge = ""; return l }, "neither badge nor PIN"},
		"an inspector":      {func(l List) List { l[1].PIN = ""; return l }, "has no PIN"},
		"a hash":            {func(l List) List { l[1].PIN = "2580"; return l }, "argon2id"},
		"a badge of a line": {func(l List) List { l[0].Badge = "B\x1d1"; return l }, "is no badge"},
		"too many":          {func(List) List { return make(List, MostPeople+1) }, "at most 1000"},
	} {
		if err := c.change(ok()).Check(); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, %q wanted", name, err, c.says)
		}
	}
}

func TestFiles(t *testing.T) {
	path := filepath.Join(t.TempDir(), FileName)
	if _, err := Open(path); !errors.Is(err, fs.ErrNotExist) {
		t.Error(err)
	}
	list := List{{Name: "A. Berg", Badge: "B1", Role: Operator}}
	if err := Save(path, list); err != nil {
		t.Fatal(err)
	}
	if is, _ := os.Stat(path); is.Mode().Perm() != 0o600 {
		t.Errorf("others may read it: %v", is.Mode())
	}
	if err := Save(path, append(list, list[0])); err == nil {
		t.Error("a list that is wrong was written")
	}
	f, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	good, _ := os.ReadFile(path)
	for name, content := range map[string]string{
		"half of it": string(good[:len(good)/2]), "nothing": "", "two": string(good) + string(good),
		"an unknown key": strings.Replace(string(good), `"badge"`, `"batch"`, 1),
		"a newer one":    strings.Replace(string(good), `"version": 1`, `"version": 2`, 1),
		"a double": strings.Replace(string(good), `"people": [`, `"people": [{"name": "A. Berg", "badge": "B7", "role": "operator"},`,
			1),
		"a large one": string(good) + strings.Repeat(" ", mostBytes),
	} {
		if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := Load(path); err == nil {
			t.Errorf("%s was taken", name)
		}
		// Who was in it holds, and it is told each time.
		for range 2 {
			if l, err := f.List(); err == nil || len(l) != 1 {
				t.Errorf("%s: %v, %v", name, l, err)
			}
		}
	}
	data, _ := json.Marshal(written{1, append(list, Person{Name: "C. Lind", Badge: "B2", Role: Operator})})
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	if l, err := f.List(); err != nil || len(l) != 2 {
		t.Errorf("mended: %v, %v", l, err)
	}
	for _, mode := range []os.FileMode{0o640, 0o604, 0o620, 0o666} {
		if err := os.Chmod(path, mode); err != nil {
			t.Fatal(err)
		}
		if _, err := Load(path); err == nil || !strings.Contains(err.Error(), "chmod 600") {
			t.Errorf("%v: %v", mode, err)
		}
		if _, err := f.List(); err == nil {
			t.Errorf("%v while it is open: taken", mode)
		}
	}
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	if l, err := f.List(); err == nil || len(l) != 2 {
		t.Errorf("gone: %v, %v: nobody would have to sign in any more", l, err)
	}
	// A change within one tick of a file system's clock is seen: another file lies there.
	if err := Save(path, list); err != nil {
		t.Fatal(err)
	}
	at := time.Unix(1000, 0)
	_ = os.Chtimes(path, at, at)
	first, _ := f.List()
	if err := Save(path, List{{Name: "A. Berg", Badge: "B3", Role: Operator}}); err != nil {
		t.Fatal(err)
	}
	_ = os.Chtimes(path, at, at)
	if second, err := f.List(); err != nil || first[0].Badge != "B1" || second[0].Badge != "B3" {
		t.Errorf("%v, then %v: %v", first, second, err)
	}
}
