/* Reads several pieces of raw interleaved little-endian 24-bit PCM and prints what libebur128 makes of them together:
 * one gate over the blocks of all pieces. Usage: libebur128-reels CHANNELS RATE FILE OFFSET FRAMES [FILE OFFSET FRAMES]... */
#include <ebur128.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

int main(int argc, char **argv) {
  const int channels = argc > 2 ? atoi(argv[1]) : 0, pieces = (argc - 3) / 3;
  const unsigned long rate = argc > 2 ? strtoul(argv[2], NULL, 10) : 0;
  if (channels < 1 || pieces < 1 || argc != 3 + 3 * pieces) return 2;
  ebur128_state **states = malloc(pieces * sizeof(*states));
  for (int piece = 0; piece < pieces; piece++) {
    FILE *file = fopen(argv[3 + 3 * piece], "rb");
    if (!file || fseeko(file, atoll(argv[4 + 3 * piece]), SEEK_SET)) return 2;
    const long long frames = atoll(argv[5 + 3 * piece]);
    unsigned char *raw = malloc(frames * channels * 3);
    double *samples = malloc(frames * channels * sizeof(double));
    if (fread(raw, channels * 3, frames, file) != (size_t)frames) return 2;
    for (long long i = 0; i < frames * channels; i++) {
      const unsigned char *p = raw + 3 * i;
      samples[i] = (int32_t)((uint32_t)p[0] << 8 | (uint32_t)p[1] << 16 | (uint32_t)p[2] << 24) / 2147483648.0;
    }
    states[piece] = ebur128_init(channels, rate, EBUR128_MODE_I | EBUR128_MODE_LRA);
    ebur128_add_frames_double(states[piece], samples, frames);
    free(raw);
    free(samples);
    fclose(file);
  }
  double loudness, range;
  if (ebur128_loudness_global_multiple(states, pieces, &loudness)) return 3;
  if (ebur128_loudness_range_multiple(states, pieces, &range)) return 3;
  printf("{\"programmeLoudnessLkfs\": %.9f, \"loudnessRangeLu\": %.9f}\n", loudness, range);
  return 0;
}
