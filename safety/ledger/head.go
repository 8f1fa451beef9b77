package ledger

import (
	"crypto/ed25519"
	"crypto/hkdf"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"golang.org/x/mod/sumdb/note"
)

func sum(b []byte) Hash { return sha256.Sum256(b) }

// Origin is the name under which a firm's log and its key are known.
func Origin(firm string) string { return "toeboard/record/" + firm }

// Head says what a log was at an instant: how many entries and their root. Who
// holds a signed head elsewhere can tell later whether anything before it was
// changed, by anybody.
type Head struct {
	Origin string    `json:"origin"`
	Size   int64     `json:"size"`
	Root   Hash      `json:"root"`
	At     time.Time `json:"at"` // UTC, whole seconds
}

// Text is what is signed: a checkpoint (C2SP tlog-checkpoint) of origin, size
// and root in base64, with the time as its one further line.
func (h Head) Text() string {
	return fmt.Sprintf("%s\n%d\n%s\ntime %s\n", h.Origin, h.Size, base64.StdEncoding.EncodeToString(h.Root[:]), h.At.UTC().Format(time.RFC3339))
}

// parseHead reads what Text writes, and nothing else.
func parseHead(text string) (Head, error) {
	bad := errors.New("a head is four lines: origin, size, root in base64, time")
	lines := strings.Split(text, "\n")
	if len(lines) != 5 || lines[4] != "" {
		return Head{}, bad
	}
	size, err := strconv.ParseInt(lines[1], 10, 64)
	root, err2 := base64.StdEncoding.DecodeString(lines[2])
	at, err3 := time.Parse("time "+time.RFC3339, lines[3])
	if err != nil || err2 != nil || err3 != nil || size < 0 || len(root) != 32 {
		return Head{}, bad
	}
	h := Head{Origin: lines[0], Size: size, Root: Hash(root), At: at.UTC()}
	if h.Text() != text {
		return Head{}, bad
	}
	return h, nil
}

// Key signs a firm's heads (ed25519).
type Key struct {
	name    string
	private ed25519.PrivateKey
	public  note.Verifier
	text    string
}

// NewKey makes the key of an origin from 32 secret bytes.
func NewKey(origin string, seed []byte) (*Key, error) {
	if len(seed) != ed25519.SeedSize {
		return nil, fmt.Errorf("a key is made from %d bytes, not %d", ed25519.SeedSize, len(seed))
	}
	k := &Key{name: origin, private: ed25519.NewKeyFromSeed(seed)}
	var err error
	if k.text, err = note.NewEd25519VerifierKey(origin, k.private.Public().(ed25519.PublicKey)); err != nil {
		return nil, fmt.Errorf("make the key of %s: %w", origin, err)
	}
	k.public, err = note.NewVerifier(k.text)
	return k, err
}

// SeedFor derives the seed of one firm from an installation's secret (HKDF,
// RFC 5869), so that one secret file serves every firm and no firm's key tells
// of another's.
func SeedFor(secret []byte, firm string) ([]byte, error) {
	return hkdf.Key(sha256.New, secret, nil, Origin(firm), ed25519.SeedSize)
}

// Public is the key in the form in which it is shown and given to the verifier:
// name, a short hash, and the public key in base64, joined by plus signs (C2SP
// signed-note).
func (k *Key) Public() string { return k.text }

// Name, KeyHash and Sign make a Key a signer of notes.
func (k *Key) Name() string { return k.name }

// KeyHash is the short hash by which a signature names its key.
func (k *Key) KeyHash() uint32 { return k.public.KeyHash() }

// Sign signs a message.
func (k *Key) Sign(message []byte) ([]byte, error) { return ed25519.Sign(k.private, message), nil }

// SignHead gives the signed head as text, ready to be kept, mailed or printed.
func (k *Key) SignHead(h Head) (string, error) { return k.signText(h.Text()) }

func (k *Key) signText(text string) (string, error) {
	signed, err := note.Sign(&note.Note{Text: text}, k)
	if err != nil {
		return "", fmt.Errorf("sign: %w", err)
	}
	return string(signed), nil
}

// Keys are the public keys that are trusted.
type Keys struct{ list []note.Verifier }

// ParseKeys reads public keys as Public writes them.
func ParseKeys(texts ...string) (Keys, error) {
	var k Keys
	for _, t := range texts {
		v, err := note.NewVerifier(strings.TrimSpace(t))
		if err != nil {
			return Keys{}, fmt.Errorf("the key %.80q cannot be read (%w): it is one line of name, eight digits and base64, joined by plus signs", t, err)
		}
		k.list = append(k.list, v)
	}
	return k, nil
}

// Open reads a signed head and checks its signature.
func (k Keys) Open(signed string) (Head, error) {
	text, err := k.open(signed)
	if err != nil {
		return Head{}, err
	}
	return parseHead(text)
}

func (k Keys) open(signed string) (string, error) {
	n, err := note.Open([]byte(signed), note.VerifierList(k.list...))
	if err != nil {
		return "", fmt.Errorf("no trusted key signed this: %w", err)
	}
	for _, s := range append(n.Sigs, n.UnverifiedSigs...) {
		// The last letter of base64 has bits to spare. They must be nothing, or one
		// signature could be written in several ways.
		if _, err := base64.StdEncoding.Strict().DecodeString(s.Base64); err != nil {
			return "", fmt.Errorf("a signature is not written in its one form: %w", err)
		}
	}
	return n.Text, nil
}
