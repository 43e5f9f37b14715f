// Package shoot is the single writer of a shoot: it takes finished files and
// people's requests one at a time, has each stored and synced by advise/trail,
// then applied by advise, then shown. In that order, so that nothing is
// acknowledged that a crash could take back.
//
// It knows the order of things, who may be told what, and where a shoot's
// folder lies. It must never decide about light (advise does), read a picture
// (the [Measurer] does) or know how a page looks. Read shoot.go first, then step.go.
//
// # Records
//
// Bodies of kind "input", version 1, are {"input": an advise.Input, "kept": the texts it
// refers to, "client": the id of the request}; of kind "output", version 1,
// {"of": number of the input's record, "outputs": the advise.Outputs}.
package shoot
