# make demo   the main job on recorded speech
# make test   everything that is checked
# Both install what they need (Debian packages, with sudo where needed) and can be run again.

SHELL := /bin/bash
# To build: ALSA for the microphone, the speech service's library for the voice (and clang, which
# reads its headers), pkg-config to find both.
BUILD_PACKAGES := build-essential pkg-config libasound2-dev libspeechd-dev libclang-dev
# To test: voices and sounds to hear, a sound server and a speech service without hardware,
# recordings of people, a browser to look back with, a database server to hand logs in to, and an
# emulator of other processors.
TEST_PACKAGES := espeak-ng flite sox pocketsphinx-testdata \
	pulseaudio pulseaudio-utils libasound2-plugins alsa-utils \
	speech-dispatcher speech-dispatcher-espeak-ng poppler-utils \
	chromium chromium-driver \
	postgresql openssl qemu-user
OUT ?= demo-out

.PHONY: demo test clips packages-build packages-test

demo: packages-build
	@echo "== building (a few minutes the first time)"
	cargo build --release --locked
	@echo "== the demo; its log and schedule go to $(OUT)/"
	./target/release/bothhands demo --out $(OUT)

test: packages-build packages-test clips
	@echo "== formatting"
	cargo fmt --check
	@echo "== lints"
	cargo clippy --all-targets --locked -- -D warnings
	@echo "== without sound devices and servers"
	cargo check --locked --no-default-features
	@echo "== the accessibility checker for the pages (npm)"
	@if command -v npm >/dev/null; then tests/looking_back/axe.sh; \
		else echo "npm is not installed: the pages are tested without it"; fi
	@echo "== tests"
	cargo test --locked
	@echo "== the optional engine"
	scripts/test-vosk.sh

clips: packages-test
	@echo "== recordings to test hearing with"
	tests/clips/make.sh

packages-build:
	@scripts/need-packages.sh $(BUILD_PACKAGES)

packages-test:
	@scripts/need-packages.sh $(TEST_PACKAGES)
