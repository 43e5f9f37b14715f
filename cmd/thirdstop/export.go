package main

import (
	"flag"
	"fmt"
	"io"
	"slices"

	"thirdstop/advise/account"
)

// wrongExport tells whether the flags of an export make no sense, and answers --columns.
func wrongExport(verb string, flags *flag.FlagSet, table, form string, columns bool, stdout, stderr io.Writer) (done bool, code int) {
	given := false
	flags.Visit(func(f *flag.Flag) { given = given || slices.Contains([]string{"table", "as", "columns"}, f.Name) })
	wrong := func(format string, a ...any) (bool, int) {
		fmt.Fprintf(stderr, "thirdstop trail %s: %s\n\n%s", verb, fmt.Sprintf(format, a...), trailHelp)
		return true, 2
	}
	tables := []account.Table{account.FramesTable, account.LogTable, account.CorrectionsTable}
	switch {
	case verb != "export" && given:
		return wrong("--table, --as and --columns go with \"export\"")
	case verb != "export":
		return false, 0
	case !slices.Contains(tables, account.Table(table)):
		return wrong("there is no table %q; write frames, log or corrections", table)
	case form != string(account.CSV) && form != string(account.JSONLines):
		return wrong("tables are not written as %q; write csv or jsonl", form)
	case columns && flags.NArg() > 0:
		return wrong("--columns goes without a shoot")
	case !columns && flags.NArg() != 1:
		return wrong("name one shoot")
	case !columns:
		return false, 0
	}
	for _, t := range tables {
		fmt.Fprintf(stdout, "%s (version %d)\n", t, account.ExportVersion)
		for _, c := range account.Columns(t) {
			fmt.Fprintf(stdout, "  %-28s %s\n", c.Name, c.Doc)
		}
	}
	return true, 0
}

func trailExport(dir string, t account.Table, f account.Form, stdout io.Writer) error {
	a, err := account.Read(dir)
	if err != nil {
		return err
	}
	return a.Write(stdout, t, f)
}
