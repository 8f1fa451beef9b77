package cap

import (
	"fmt"
	"net/url"
	"slices"
	"time"

	"toeboard/weather"
	"toeboard/weather/fault"
)

// Bounds of what a feed's links may make anybody fetch.
const (
	MostLinked      = 200     // messages of one feed
	MostLinkedBytes = 1 << 20 // of one message: real ones have some tens of kilobytes
)

// Link is a message that a feed's entry only names.
type Link struct {
	Address string
	Since   time.Time // UTC; when the entry was last changed
}

// Linked gives the messages that entries of a feed only name, in the feed's
// order and each once, as far as they may be fetched: from the feed's own host,
// by https or as the feed itself was, and no more than MostLinked. Every other is
// an error beside them. An entry whose message is not fetched warns by itself.
func Linked(feed string, list []weather.Bulletin) (links []Link, refused []error) {
	for i := range list {
		address, err := linkOf(feed, &list[i])
		at := slices.IndexFunc(links, func(l Link) bool { return l.Address == address })
		switch {
		case err != nil:
			refused = append(refused, err)
		case address == "":
		case at >= 0:
			if list[i].Sent.After(links[at].Since) {
				links[at].Since = list[i].Sent
			}
		case len(links) == MostLinked:
			return links, append(refused, fault.Bad("feed", feed, fmt.Sprintf("at most %d entries that only name a message: the others are not fetched, and each stands as a warning", MostLinked)))
		default:
			links = append(links, Link{address, list[i].Sent})
		}
	}
	return links, refused
}

// linkOf gives the address of the message that a bulletin only names; "" when it
// is a message itself or says by its own fields what it warns of.
func linkOf(feed string, b *weather.Bulletin) (string, error) {
	if !b.Listed || len(b.Links) == 0 {
		return "", nil
	}
	base, err := url.Parse(feed)
	if err != nil {
		return "", fault.Bad("feed", feed, "an address")
	}
	u, err := base.Parse(b.Links[0])
	if err != nil || u.Host == "" || u.Host != base.Host || u.User != nil || u.Scheme != base.Scheme && u.Scheme != "https" {
		return "", fault.Bad("link", b.Links[0], "an address on the feed's own host, "+base.Host+": it is not fetched, and the entry stands as a warning")
	}
	u.Fragment = ""
	return u.String(), nil
}

// Whole puts messages in the place of the entries that only name them. message
// gives what was fetched from an address, nil = nothing. What cannot be read as
// one message leaves its entry standing, and so does one that warns of nothing
// without being a Cancel.
func Whole(feed string, list []weather.Bulletin, message func(address string) []byte) []weather.Bulletin {
	out := slices.Clone(list)
	for i := range out {
		address, err := linkOf(feed, &out[i])
		if err != nil || address == "" {
			continue
		}
		body := message(address)
		if len(body) == 0 || len(body) > MostLinkedBytes {
			continue
		}
		b, err := One(body)
		if err != nil || b.Status == weather.StatusActual && b.Kind != weather.KindCancel && len(b.Warnings) == 0 {
			continue
		}
		b.Links = out[i].Links
		out[i] = b
	}
	return out
}

// One reads a single message; a feed is an error.
func One(body []byte) (weather.Bulletin, error) {
	list, err := Read(body)
	if err != nil {
		return weather.Bulletin{}, err
	}
	if len(list) != 1 || list[0].Listed || list[0].Entry {
		return weather.Bulletin{}, fault.Bad("warning", "a feed", "one message of CAP")
	}
	return list[0], nil
}
