package box

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
)

// photoSuffixes are the endings of file names that are taken for photos, in
// small letters.
var photoSuffixes = []string{".jpg", ".jpeg", ".png", ".webp", ".heic", ".heif", ".tif", ".tiff"}

// found is one photo file.
type found struct {
	path string // to open it
	rel  string // from the folder that is sorted; any bytes
}

// Skipped is something in the folder that was left out, and why.
type Skipped struct {
	Name string
	Why  string
}

// scan lists the photos of a folder, with those of its sub-folders where
// recursive is set, in the order of their names. Links are followed; a folder
// that was seen before, by a loop of links or by two of them, is not entered
// again. Hidden files and folders are passed over. What cannot be read is
// returned beside the photos: it does not stop the rest.
func scan(root string, recursive bool) ([]found, []Skipped, error) {
	info, err := os.Stat(root)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, nil, fmt.Errorf("there is no folder %s", root)
	case err != nil:
		return nil, nil, fmt.Errorf("the folder %s cannot be read: %w", root, err)
	case !info.IsDir():
		return nil, nil, fmt.Errorf("%s is a file, not a folder; give the folder it is in", root)
	}
	s := scanner{recursive: recursive, seen: map[[2]uint64]bool{}}
	s.seen[inode(info)] = true
	if err := s.folder(root, ""); err != nil {
		return nil, nil, fmt.Errorf("the folder %s cannot be read: %w", root, err)
	}
	slices.SortFunc(s.photos, func(a, b found) int { return strings.Compare(a.rel, b.rel) })
	return s.photos, s.skipped, nil
}

type scanner struct {
	recursive bool
	photos    []found
	skipped   []Skipped
	seen      map[[2]uint64]bool
}

func (s *scanner) folder(path, rel string) error {
	entries, err := os.ReadDir(path)
	if err != nil {
		return err
	}
	for _, e := range entries {
		name := e.Name()
		if strings.HasPrefix(name, ".") {
			continue
		}
		full, relName := filepath.Join(path, name), filepath.Join(rel, name)
		isPhoto := slices.Contains(photoSuffixes, strings.ToLower(filepath.Ext(name)))
		isFolder := e.IsDir()
		if e.Type()&fs.ModeSymlink != 0 {
			info, err := os.Stat(full)
			if err != nil {
				if isPhoto {
					s.skipped = append(s.skipped, Skipped{relName, "the link leads nowhere"})
				}
				continue
			}
			isFolder = info.IsDir()
		}
		switch {
		case isFolder && s.recursive:
			info, err := os.Stat(full)
			if err != nil {
				s.skipped = append(s.skipped, Skipped{relName, "the folder cannot be read: " + plainReason(err)})
				continue
			}
			if s.seen[inode(info)] {
				continue
			}
			s.seen[inode(info)] = true
			if err := s.folder(full, relName); err != nil {
				s.skipped = append(s.skipped, Skipped{relName, "the folder cannot be read: " + plainReason(err)})
			}
		case isFolder:
		case isPhoto:
			s.photos = append(s.photos, found{full, relName})
		}
	}
	return nil
}

// inode tells folders apart whatever name they were reached by.
func inode(info fs.FileInfo) [2]uint64 {
	if st, ok := info.Sys().(*syscall.Stat_t); ok {
		return [2]uint64{uint64(st.Dev), st.Ino}
	}
	return [2]uint64{}
}

func plainReason(err error) string {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return pe.Err.Error()
	}
	return err.Error()
}
