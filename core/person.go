package core

// Person is somebody on the chat server. ID never changes and decides who is
// who; Name is the user name at the time, kept for people to read.
type Person struct {
	ID   string
	Name string
}

// Is reports whether p and q are the same person.
func (p Person) Is(q Person) bool { return p.ID == q.ID }
