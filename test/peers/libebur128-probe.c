/* Reads raw interleaved little-endian PCM of a WAV file's data chunk and prints what libebur128 measures, as JSON.
 * Usage: libebur128-probe FILE DATA_OFFSET FRAMES CHANNELS RATE BITS(16|24|-32|-64) MODE(fast|full)
 * fast: programme loudness, range and true peak. full: also momentary and short-term maxima polled at 100 Hz.
 * Channels 5, 6, 8 are L R C Ls Rs, L R C LFE Ls Rs, L R C LFE Ls Rs Lrs Rrs (side pair weighted, rear pair not). */
#include <ebur128.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static double sample_at(const unsigned char *p, int bits) {
  float f;
  double d;
  switch (bits) {
    case 16: return (int16_t)(p[0] | p[1] << 8) / 32768.0;
    case 24: return (int32_t)((uint32_t)p[0] << 8 | (uint32_t)p[1] << 16 | (uint32_t)p[2] << 24) / 2147483648.0;
    case -32: memcpy(&f, p, 4); return f;
    default: memcpy(&d, p, 8); return d;
  }
}

static void print_level(const char *name, double level, int last) {
  if (isfinite(level)) printf("\"%s\": %.9f%s", name, level, last ? "" : ", ");
  else printf("\"%s\": null%s", name, last ? "" : ", ");
}

int main(int argc, char **argv) {
  if (argc != 8) return 2;
  FILE *file = fopen(argv[1], "rb");
  if (!file || fseeko(file, atoll(argv[2]), SEEK_SET)) return 2;
  long long left = atoll(argv[3]);
  const unsigned channels = atoi(argv[4]);
  const unsigned long rate = atol(argv[5]);
  const int bits = atoi(argv[6]), sample_bytes = abs(bits) / 8, full = !strcmp(argv[7], "full");
  const int modes = EBUR128_MODE_I | EBUR128_MODE_LRA | EBUR128_MODE_TRUE_PEAK | EBUR128_MODE_SAMPLE_PEAK
                    | (full ? EBUR128_MODE_M | EBUR128_MODE_S : 0);
  ebur128_state *state = ebur128_init(channels, rate, modes);
  if (channels == 8) {
    ebur128_set_channel(state, 4, EBUR128_Mp090);
    ebur128_set_channel(state, 5, EBUR128_Mm090);
    ebur128_set_channel(state, 6, EBUR128_Mp135);
    ebur128_set_channel(state, 7, EBUR128_Mm135);
  }
  const long long chunk = full ? rate / 100 : rate / 10;
  unsigned char *raw = malloc(chunk * channels * sample_bytes);
  double *samples = malloc(chunk * channels * sizeof(double));
  double max_momentary = -HUGE_VAL, max_short_term = -HUGE_VAL, level, range;
  long long fed = 0;
  while (left > 0) {
    const long long frames = left < chunk ? left : chunk;
    if (fread(raw, channels * sample_bytes, frames, file) != (size_t)frames) return 2;
    for (long long i = 0; i < frames * channels; i++) samples[i] = sample_at(raw + i * sample_bytes, bits);
    ebur128_add_frames_double(state, samples, frames);
    fed += frames;
    left -= frames;
    if (!full) continue;
    if (fed >= (long long)rate * 4 / 10 && !ebur128_loudness_momentary(state, &level) && level > max_momentary) max_momentary = level;
    if (fed >= (long long)rate * 3 && !ebur128_loudness_shortterm(state, &level) && level > max_short_term) max_short_term = level;
  }
  ebur128_loudness_global(state, &level);
  ebur128_loudness_range(state, &range);
  printf("{");
  print_level("programmeLoudnessLkfs", level, 0);
  print_level("loudnessRangeLu", range, 0);
  print_level("maxMomentaryLkfs", max_momentary, 0);
  print_level("maxShortTermLkfs", max_short_term, 0);
  printf("\"truePeaks\": [");
  for (unsigned c = 0; c < channels; c++) {
    ebur128_true_peak(state, c, &level);
    printf("%s%.9f", c ? ", " : "", level);
  }
  printf("]}\n");
  ebur128_destroy(&state);
  return 0;
}
