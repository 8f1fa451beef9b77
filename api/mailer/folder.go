package mailer

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
)

// Folder writes each mail as a file (.eml), which every mail program opens. It
// is what the demo does instead of troubling a mail server.
type Folder struct{ Dir string }

// Send writes the mail as a whole or not at all. A mail that is sent again takes
// the place of its file.
func (f Folder) Send(_ context.Context, m Mail) (string, error) {
	msg, err := m.message()
	if err != nil {
		return "", err
	}
	var b bytes.Buffer
	if _, err := msg.WriteTo(&b); err != nil {
		return "", fmt.Errorf("write a mail: %w", err)
	}
	if err := os.MkdirAll(f.Dir, 0o700); err != nil {
		return "", fmt.Errorf("make the folder of mails: %w", err)
	}
	name, _, _ := strings.Cut(m.ID, "@")
	name = filepath.Join(f.Dir, m.At.UTC().Format("20060102-150405")+"-"+safeName(name)+".eml")
	tmp, err := os.CreateTemp(f.Dir, ".mail-*")
	if err != nil {
		return "", fmt.Errorf("write a mail: %w", err)
	}
	defer os.Remove(tmp.Name())
	_, err = tmp.Write(b.Bytes())
	if closed := tmp.Close(); err == nil {
		err = closed
	}
	if err == nil {
		err = os.Rename(tmp.Name(), name)
	}
	if err != nil {
		return "", fmt.Errorf("write a mail: %w", err)
	}
	return "written to " + name, nil
}

func safeName(s string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r == '-' || r == '.' {
			return r
		}
		return '-'
	}, strings.ToLower(s))
}
