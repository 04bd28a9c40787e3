package main

import (
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"dentcount/shelf"
)

func newShelfExportCmd(a *app, f *shelfFlag) *cobra.Command {
	var csvDir string
	cmd := &cobra.Command{
		Use:   "export [FILE]",
		Short: "Write everything on the shelf as JSON, or as a folder of CSV files",
		Long: `export writes everything on the shelf: as one JSON file, or with --csv as a new
folder with one CSV file a table, for a spreadsheet. import reads both, and nothing
is lost on the way. FILE - is standard output.`,
		Example: `  dentcount shelf export shelf.json
  dentcount shelf export --csv shelf-as-csv`,
		Args: func(cmd *cobra.Command, args []string) error {
			switch {
			case len(args) > 1:
				return usagef("one file at a time: %q is too much", args[1])
			case (len(args) == 1) == (csvDir != ""):
				return usagef("say where to: a file for JSON, or --csv FOLDER").withHint("dentcount shelf export shelf.json")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			s, err := f.openThere(cmd.Context(), a)
			if err != nil {
				return err
			}
			defer s.Close()
			if csvDir != "" {
				return writeFolder(csvDir, func(create func(string) (io.WriteCloser, error)) error { return s.ExportCSV(cmd.Context(), create) })
			}
			if args[0] == stdinName {
				return s.ExportJSON(cmd.Context(), a.answers())
			}
			return writeWhole(args[0], false, nil, func(w io.Writer) error { return s.ExportJSON(cmd.Context(), w) })
		},
	}
	cmd.Flags().StringVar(&csvDir, "csv", "", "into a new `FOLDER` of CSV files")
	return cmd
}

func newShelfImportCmd(a *app, f *shelfFlag) *cobra.Command {
	return &cobra.Command{
		Use:   "import FILE-or-FOLDER",
		Short: "Read what export wrote and join it to the shelf",
		Long: `import reads what export wrote, a JSON file or a folder of CSV files, and joins it
to the shelf. What is there stays; what is the same is passed over. Where the two
hold something different under one name, nothing is changed. - is standard input.`,
		Args: oneArg("the file or the folder", "dentcount shelf import shelf.json"),
		RunE: func(cmd *cobra.Command, args []string) error {
			from := args[0]
			var in io.Reader = a.stdin
			isFolder := false
			if from != stdinName {
				info, err := os.Stat(from)
				if err != nil {
					return fmt.Errorf("%s cannot be read: %w", from, plainErr(err))
				}
				isFolder = info.IsDir()
				if !isFolder {
					file, err := os.Open(from)
					if err != nil {
						return fmt.Errorf("%s cannot be read: %w", from, plainErr(err))
					}
					defer file.Close()
					in = file
				}
			}
			s, err := f.open(cmd.Context(), a)
			if err != nil {
				return err
			}
			defer s.Close()
			var done shelf.Imported
			if isFolder {
				done, err = s.ImportCSV(cmd.Context(), os.DirFS(from))
			} else {
				done, err = s.ImportJSON(cmd.Context(), in)
			}
			if err != nil {
				return err
			}
			a.answerf("%s\n", importedInWords(done))
			return nil
		},
	}
}

func importedInWords(done shelf.Imported) string {
	var parts []string
	for _, t := range []struct{ table, one, many string }{
		{"parts", "part", "parts"}, {"photos", "photo", "photos"}, {"measurements", "measurement", "measurements"},
		{"decisions", "word of a person", "words of a person"}, {"looms", "loom", "looms"}, {"orders", "order", "orders"}, {"tags", "tag", "tags"},
	} {
		switch n := done.Rows[t.table]; {
		case n == 1:
			parts = append(parts, "1 "+t.one)
		case n > 1:
			parts = append(parts, fmt.Sprintf("%d %s", n, t.many))
		}
	}
	if len(parts) == 0 {
		return "Nothing new: all of it was on the shelf already."
	}
	words := "New on the shelf: " + strings.Join(parts, ", ") + "."
	if done.Known > 0 {
		words += fmt.Sprintf(" %d rows were there already.", done.Known)
	}
	return words
}

func newShelfBackupCmd(a *app, f *shelfFlag) *cobra.Command {
	return &cobra.Command{
		Use:     "backup FILE",
		Short:   "Copy the shelf into a new file, while others may use it",
		Example: `  dentcount shelf backup shelf-2026-03-01.db`,
		Args:    oneArg("the name of the new file", "dentcount shelf backup shelf-copy.db"),
		RunE: func(cmd *cobra.Command, args []string) error {
			s, err := f.openThere(cmd.Context(), a)
			if err != nil {
				return err
			}
			defer s.Close()
			if err := s.Backup(cmd.Context(), args[0]); err != nil {
				return err
			}
			a.answerf("%s holds a checked copy of the shelf; --shelf %s uses it.\n", args[0], args[0])
			return nil
		},
	}
}
