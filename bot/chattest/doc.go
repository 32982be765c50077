// Package chattest has what several rooms need to test against a chat server:
// [Board] is a chat.Chat and chat.Files in memory that fails as a test tells it
// to, and [LogBook] keeps what was logged. Only tests import it.
package chattest
