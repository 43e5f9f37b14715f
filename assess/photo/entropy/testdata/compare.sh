#!/bin/sh
# Prints how long surveys take against djpeg (libjpeg-turbo) and vips on the same files:
# ratios of medians formed in one run, CPU time beside wall time, and peak memory.
#
#	assess/photo/entropy/testdata/compare.sh [FILE.jpg ...]
#
# Set THIRDSTOP_PHOTOS to a folder of camera files to measure the large ones in it.
# Run it on a quiet machine.
set -eu
cd "$(dirname "$0")/../../../.."
echo "load: $(cut -d' ' -f1-3 /proc/loadavg), $(nproc) processors"
go test -run '^$' -bench AgainstDjpeg -benchtime 3x ./assess/photo
go test -run '^$' -bench 'Read' -benchmem ./assess/photo/entropy
if command -v vips >/dev/null && [ $# -gt 0 ]; then
	for f in "$@"; do
		for tool in "djpeg -outfile /dev/null" "vips stats" "vips hist_find"; do
			out=/dev/null
			case $tool in vips*) out=$(mktemp --suffix .v) ;; esac
			start=$(date +%s%N)
			case $tool in
			vips*) $tool "$f" "$out" ;;
			*) $tool "$f" ;;
			esac
			echo "$f: $tool: $((($(date +%s%N) - start) / 1000000)) ms"
			case $tool in vips*) rm -f "$out" ;; esac
		done
	done
fi
