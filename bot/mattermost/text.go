package mattermost

import (
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/mattermost/mattermost/server/public/model"
)

// cutMark ends a text that was too long for a post.
const cutMark = "\n[…]"

// sendable returns text as the server takes it: without control characters (a
// NUL makes the server's database refuse the post for ever) and no longer than
// a post may be.
func sendable(text string) string {
	text = strings.Map(func(c rune) rune {
		if unicode.IsControl(c) && c != '\n' && c != '\t' {
			return -1
		}
		return c
	}, strings.ToValidUTF8(text, string(utf8.RuneError)))
	if utf8.RuneCountInString(text) <= model.PostMessageMaxRunesV2 {
		return text
	}
	room := model.PostMessageMaxRunesV2 - utf8.RuneCountInString(cutMark)
	return string([]rune(text)[:room]) + cutMark
}
