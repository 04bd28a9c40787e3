# make setup build demo test lint: each does all it needs, from nothing.

.DEFAULT_GOAL := help
.PHONY: help setup build demo test accuracy bench lint clean

export PATH := $(PATH):/usr/local/go/bin

# What OpenCV costs a start, measured on `dentcount version` (2 cores of an
# AMD EPYC, Debian 12, median of 20 runs):
#
#   go build ./cmd/dentcount    264 shared libraries  0.33 s  82 MB  13.9 MB file
#   make build                  140 shared libraries  0.19 s  52 MB  11.8 MB file
#
# gocv wraps all of OpenCV, so a plain build loads all of it with whatever each
# part wants. Here every function of the wrapper gets a section of its own,
# lld throws out those that nothing calls, and only then asks which libraries
# are still needed; GNU ld asks first and keeps them.
SECTIONS := -O2 -ffunction-sections -fdata-sections
export CGO_CFLAGS ?= $(SECTIONS)
export CGO_CXXFLAGS ?= $(SECTIONS)
export CGO_LDFLAGS ?= -O2 -fuse-ld=lld -Wl,--gc-sections -Wl,--as-needed

# nodynamic: HEIC by the libheif inside the module, in its sandbox, whatever
# libheif the machine has; called natively, the module leaks each picture.
# buildvcs: a copy without its git history builds, too. The user's own come
# last and win.
BUILDVCS := $(shell git status --porcelain >/dev/null 2>&1 && echo auto || echo false)
USERFLAGS := $(shell PATH="$(PATH)" go env GOFLAGS 2>/dev/null)
export GOFLAGS := -tags=nodynamic -buildvcs=$(BUILDVCS) $(USERFLAGS)

STATICCHECK := honnef.co/go/tools/cmd/staticcheck@v0.8.2

# What has to be on the machine, and the Debian packages that bring it.
HAVE := command -v gcc && command -v g++ && command -v pkg-config && command -v ld.lld && command -v pdftoppm && command -v chromium && pkg-config --exists opencv4
PACKAGES := gcc g++ libc6-dev pkg-config lld libopencv-dev ca-certificates poppler-utils chromium
GO_NEEDED := $(shell awk '$$1 == "go" {print $$2}' go.mod)

help: ## list what make can do
	@awk -F ':.*## ' '/^[a-z]+:.*## / {printf "make %-7s %s\n", $$1, $$2}' $(MAKEFILE_LIST)

setup: ## install what building needs (Debian packages; asks for nothing when all is there)
	@if ! { $(HAVE); } >/dev/null 2>&1; then \
		if ! command -v apt-get >/dev/null; then \
			echo "make setup: this system has no apt-get. Install gcc, g++, pkg-config, lld and OpenCV 4.6 with its headers, then run make again." >&2; exit 1; \
		fi; \
		as_root=; \
		if [ "$$(id -u)" != 0 ]; then \
			if ! command -v sudo >/dev/null; then \
				echo "make setup: run this as root, then make again: apt-get install $(PACKAGES)" >&2; exit 1; \
			fi; \
			as_root=sudo; \
		fi; \
		echo "make setup: installing $(PACKAGES)"; \
		quietly="$$as_root env DEBIAN_FRONTEND=noninteractive apt-get -qq -o Acquire::Retries=3 -o DPkg::Lock::Timeout=300 -o Dpkg::Use-Pty=0"; \
		$$quietly update </dev/null && \
		$$quietly install --yes --no-install-recommends $(PACKAGES) </dev/null >/dev/null || \
			{ echo "make setup: apt-get could not install them; its message is above." >&2; exit 1; }; \
		{ $(HAVE); } >/dev/null || { echo "make setup: they are installed, and something of them is still missing." >&2; exit 1; }; \
	fi
	@if ! command -v go >/dev/null; then \
		echo "make setup: Go is missing. Install Go $(GO_NEEDED) or newer from https://go.dev/doc/install, then run make again." >&2; exit 1; \
	fi; \
	if ! said=$$(go list -m 2>&1 </dev/null); then \
		echo "$$said" >&2; \
		echo "make setup: dentcount needs Go $(GO_NEEDED) or newer, this is $$(GOTOOLCHAIN=local go version). Install it from https://go.dev/doc/install, then run make again." >&2; exit 1; \
	fi

build: setup ## build bin/dentcount
	go build -o bin/dentcount ./cmd/dentcount

DEMO_PHOTOS = $(sort $(wildcard $(addprefix testdata/images/*.,jpg jpeg png webp heic tif tiff)))

demo: build ## measure the photos in testdata/images and draw what was seen into out/demo
	@test -n "$(DEMO_PHOTOS)" || { echo "make demo: no photos in testdata/images" >&2; exit 1; }
	@rm -rf out/demo && mkdir -p out/demo
	@# Exit status 3 says that a photo was unsure or refused, and some of these must be.
	@echo "bin/dentcount measure --overlay out/demo testdata/images/*"; \
	bin/dentcount measure --overlay out/demo $(DEMO_PHOTOS) </dev/null || [ $$? -eq 3 ]
	@echo "The photos with what was seen in them: $(CURDIR)/out/demo"

# Folders of photos, each with a truth.json; others can be named on the command line.
TRUTH ?= testdata/images
# The same for lengths; those of TRUTH are measured, too.
LENGTHS ?= testdata/lengths

# Scenes drawn in memory instead, from ranges that no model was fitted on:
# make accuracy SCENES=300 SEED=7. A sweep that was stopped goes on.
SEED ?= 1
RANGES ?= judge

accuracy: setup ## measure photos with known truth: make accuracy TRUTH="DIR DIR", or SCENES=N SEED=S
	@mkdir -p out/accuracy
ifdef SCENES
	go run ./cmd/accuracy -scenes $(SCENES) -seed $(SEED) -ranges $(RANGES) -raw out/accuracy/$(RANGES)-$(SEED).ndjson -html out/accuracy/$(RANGES)-$(SEED).html
else
	go run ./cmd/accuracy -v -html out/accuracy/photos.html $(TRUTH)
	go run ./cmd/accuracy -v -lengths $(TRUTH) $(LENGTHS)
endif

# Photos, or folders of them, whose cost is measured; see cmd/bench.
PHOTOS ?= testdata/images

# How many photos of 12 megapixels are sorted on one core, and on two.
SORT ?= 8

bench: setup ## what a photo, a sorted box and a large shelf cost: make bench PHOTOS="DIR PHOTO" SORT=200
	go run ./cmd/bench $(PHOTOS)
	go test ./shelf -run '^$$' -bench Shelf -benchtime 20x
	DENTCOUNT_BENCH_PHOTOS=$(SORT) go test ./box -run '^$$' -bench 'Sort$$' -benchtime 1x -timeout 1h

test: setup ## vet and test everything
	go vet ./...
	go test ./...

lint: setup ## check the format of the code, vet, and run staticcheck
	@bad=$$(gofmt -l .) && if [ -n "$$bad" ]; then echo "gofmt -w is needed on:" >&2; echo "$$bad" >&2; exit 1; fi
	go vet ./...
	go run $(STATICCHECK) ./...

clean: ## remove what was built (bin, out)
	rm -rf bin out
