# make demo        the main job on recorded speech
# make check       formatting, lints of the library and the quick tests: under a minute once built
# make test        everything that a change must pass
# make test-long   what takes hours: an hour of fuzzing, guards broken, long walks, harm at length,
#                  an hour of sound, a thousand sessions handed in, pauses, a package in a clean system,
#                  clips by way of a phone, rooms full of learners, the optional engine
# make bench       how long the parts that matter take
# make install     the program, its manual pages, completions and documents (PREFIX, DESTDIR)
# make package     a Debian package of all that, in target/
# All but `check` install what they need (Debian packages, with sudo where needed) and can be run
# again. What is missing fails; nothing is passed over.

SHELL := /bin/bash
# To build: ALSA for the microphone, the speech service's library for the voice (and clang, which
# reads its headers), pkg-config to find both.
BUILD_PACKAGES := build-essential pkg-config libasound2-dev libspeechd-dev libclang-dev
# To test: voices and sounds to hear, a sound server and a speech service without hardware, a terminal,
# recordings of people, a browser to look back with and npm for its accessibility rules, a database
# server to hand logs in to, an emulator of other processors, a circuit simulator for the training bay,
# pip for the optional engine, a clean system to install in.
TEST_PACKAGES := espeak-ng flite sox pocketsphinx-testdata \
	pulseaudio pulseaudio-utils libasound2-plugins alsa-utils \
	speech-dispatcher speech-dispatcher-espeak-ng poppler-utils tmux \
	chromium chromium-driver npm=npm \
	postgresql openssl perl qemu-user ngspice \
	python3=python3 pip3=python3-pip dpkg-dev mmdebstrap
OUT ?= demo-out
PREFIX ?= /usr/local
RELEASE := $(or $(CARGO_TARGET_DIR),target)/release/bothhands
PART := @tests/tools/part.sh
# One set of features for the dependencies: tests/features adds those that the package leaves out.
WITHOUT := --package bothhands --package bothhands-features --no-default-features

# A clone that is built once has no use for what makes the next build quicker.
ifdef CI
export CARGO_INCREMENTAL := 0
endif

.PHONY: demo check test test-long bench clips build install package packages-build packages-test

demo: packages-build
	@echo "== building (a few minutes the first time)"
	@$(MAKE) --no-print-directory build
	@echo "== the demo; its log and schedule go to $(OUT)/"
	$(RELEASE) demo --out $(OUT)

check:
	$(PART) begin
	$(PART) "formatting" cargo fmt --check
	$(PART) "lints of the library" cargo clippy --lib --locked -- -D warnings
	$(PART) "quick tests" cargo test --quiet --locked --lib
	$(PART) end

test: packages-build packages-test
	$(PART) begin
	$(PART) "formatting" cargo fmt --check
	$(PART) "lints, with the optional engine" cargo clippy --all-targets --locked --features vosk -- -D warnings
	$(PART) "without sound devices and servers" cargo check --locked $(WITHOUT) --lib --bins --tests
	$(PART) "documentation" env RUSTDOCFLAGS="-D warnings" cargo doc --no-deps --locked --quiet
	$(PART) "recordings to test hearing with" tests/clips/make.sh
	$(PART) "building the tests" cargo test --locked --lib --bins --test it --no-run
	$(PART) "tests" cargo test --locked --lib --bins --test it
	$(PART) "examples in the documentation" cargo test --locked --doc
	$(PART) end

test-long: packages-build packages-test
	$(PART) begin
	$(PART) "the optional engine" tests/tools/test-vosk.sh
	$(PART) "recordings, all of them" tests/clips/make.sh full
	$(PART) "building the tests" cargo test --locked --test it --no-run
	$(PART) "an hour of spoilt files" env FUZZ_SECONDS=3600 cargo test --locked --test it fuzz:: -- --nocapture
	$(PART) "guards broken" env BROKEN=3000000 cargo test --locked --test it guards_broken -- --nocapture
	$(PART) "a walk with a body" env BODY=100000 cargo test --locked --test it with_a_body -- --nocapture
	$(PART) "a long walk" env WALK=1000000 cargo test --locked --test it model_walk -- --nocapture
	$(PART) "harm to logs at length" env BOTHHANDS_HARM=long cargo test --locked --test it keeping:: -- --nocapture
	$(PART) "every sentence of the grammar" cargo test --locked --lib grammar::tests::clear::many -- --ignored
	$(PART) "a thousand sessions handed in" cargo test --locked --test it handed_in::thousand -- --ignored --nocapture
	$(PART) "a thousand installations beside a simulator" cargo test --locked --test it bay::spice::a_thousand -- --ignored --nocapture
	$(PART) "what prompts ask for, by every voice" env VOICES=all cargo test --locked --test it hearing::asked_for -- --nocapture
	$(PART) "more recordings on other processors" env EMULATE=more cargo test --locked --test it hears_the_same -- --nocapture
	$(PART) "pauses: recordings" tests/clips/pauses.sh
	$(PART) "pauses inside numbers" cargo bench --locked --bench pauses
	$(PART) "a package in a clean system" bash -c 'tests/tools/try-package.sh "$$(tests/tools/package.sh target)"'
	$(PART) "an hour of sound" tests/sound/hour.sh 60
	$(PART) "two hundred clips by way of a phone" cargo test --locked --test it phone::path::two_hundred -- --ignored --nocapture
	$(PART) "rooms full of learners" cargo test --locked --test it phone::who_spoke -- --ignored --nocapture
	$(PART) end

build:
	cargo build --release --locked

# Pages and completions come from the program itself.
install: build
	install -D -m 755 $(RELEASE) "$(DESTDIR)$(PREFIX)/bin/bothhands"
	install -d "$(DESTDIR)$(PREFIX)/share/man/man1" "$(DESTDIR)$(PREFIX)/share/doc/bothhands" \
		"$(DESTDIR)$(PREFIX)/share/bash-completion/completions" \
		"$(DESTDIR)$(PREFIX)/share/zsh/site-functions" "$(DESTDIR)$(PREFIX)/share/fish/vendor_completions.d"
	$(RELEASE) man --out "$(DESTDIR)$(PREFIX)/share/man/man1"
	$(RELEASE) completions bash >"$(DESTDIR)$(PREFIX)/share/bash-completion/completions/bothhands"
	$(RELEASE) completions zsh >"$(DESTDIR)$(PREFIX)/share/zsh/site-functions/_bothhands"
	$(RELEASE) completions fish >"$(DESTDIR)$(PREFIX)/share/fish/vendor_completions.d/bothhands.fish"
	install -d "$(DESTDIR)$(PREFIX)/share/doc/bothhands/guide"
	install -m 644 README.md CHANGELOG.md LICENSE-MIT LICENSE-APACHE models/NOTICE demo/boathouse.toml \
		"$(DESTDIR)$(PREFIX)/share/doc/bothhands"
	install -m 644 demo/guide/*.md "$(DESTDIR)$(PREFIX)/share/doc/bothhands/guide"

package:
	tests/tools/package.sh $(or $(CARGO_TARGET_DIR),target)

bench:
	cargo bench --locked --bench parts

clips: packages-test
	@echo "== recordings to test hearing with"
	tests/clips/make.sh

packages-build:
	@tests/tools/need-packages.sh $(BUILD_PACKAGES)

packages-test:
	@tests/tools/need-packages.sh $(TEST_PACKAGES)
