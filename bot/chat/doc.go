// Package chat is the border between the bot and a chat server: what comes in,
// what goes out, and what a chat server must be able to do. It holds no rules
// and does nothing by itself; it depends on core alone.
//
// The types to know first:
//
//   - [Event] is anything that reaches the engine: its [What] says what happened,
//     its ID lets it count once.
//   - [Message] is a post to be made; its Key finds it again after a crash.
//   - [Server] is what an adapter must do: tell events, and deliver as a [Chat].
//     A call that fails says in a [SendError] why, and whether to repeat it.
//   - [Doc] (document.go) names a document that is made when its message is
//     delivered.
//
// How urgent a message is, and what happens after a failure, is not said here:
// see store.OutClass and package outbox. keys.go has the keys of a run's posts,
// by which engine and outbox mean the same post.
package chat
