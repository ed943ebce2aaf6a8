/* Viterbi over a word graph with CTC blanks, K hypotheses a node that differ in meaning class.
 *
 * Every arc of the word graph is a chain of nodes in pairs (blank, phone). A node may be entered from itself,
 * from the node before it, and, when the two phones differ, from two before it (leaving the blank out).
 * cc -O3 -march=native -shared -fPIC -o libdecode.so decode.c
 */
#include <stdint.h>
#include <stdlib.h>

#define NONE -1e30f
#define K 6

typedef struct { float score; int history; } Token;
typedef struct { int parent, arc, class_id; } History;

static History *history;
static int n_history, cap_history;
/* Class sequences, interned: two histories with the same id mean the same. */
static int *class_parent, *class_value, *class_next, n_class, cap_class;
static int bucket[1 << 16];

static int intern(int parent, int value) {
    if (value < 0) return parent;
    unsigned b = ((unsigned)parent * 2654435761u + (unsigned)value * 40503u) & 0xffff;
    for (int i = bucket[b]; i >= 0; i = class_next[i])
        if (class_parent[i] == parent && class_value[i] == value) return i;
    if (n_class == cap_class) {
        cap_class *= 2;
        class_parent = realloc(class_parent, sizeof(int) * cap_class);
        class_value = realloc(class_value, sizeof(int) * cap_class);
        class_next = realloc(class_next, sizeof(int) * cap_class);
    }
    class_parent[n_class] = parent;
    class_value[n_class] = value;
    class_next[n_class] = bucket[b];
    bucket[b] = n_class;
    return n_class++;
}

static int new_history(int parent, int arc, int class_id) {
    if (n_history == cap_history) {
        cap_history *= 2;
        history = realloc(history, sizeof(History) * cap_history);
    }
    history[n_history] = (History){parent, arc, class_id};
    return n_history++;
}

static inline int class_of(int h) { return h < 0 ? 0 : history[h].class_id; }

/* Keep the K best of unlike class, best first. */
static inline void add(Token *t, float score, int h) {
    if (score <= t[K - 1].score) return;
    int c = class_of(h), i, j;
    for (i = 0; i < K && t[i].score > NONE / 2; i++)
        if (class_of(t[i].history) == c) {
            if (score <= t[i].score) return;
            for (j = i; j > 0 && t[j - 1].score < score; j--) t[j] = t[j - 1];
            t[j] = (Token){score, h};
            return;
        }
    for (j = K - 1; j > 0 && t[j - 1].score < score; j--) t[j] = t[j - 1];
    t[j] = (Token){score, h};
}

static void clear(Token *t, int n) {
    for (int i = 0; i < n; i++) t[i] = (Token){NONE, -1};
}

/* emit: log probabilities [frames][width]. Nodes: label, skip (may be entered from two before), first (of its arc).
 * Arcs: source, target, weight, class, first node, last node. Returns the number of hypotheses written. */
int decode(const float *emit, int frames, int width, int nodes, const int *label, const uint8_t *skip,
           const uint8_t *is_first, int arcs, const int *source, const int *target, const float *weight,
           const int *word_class, const int *first, const int *last, int states, int start, int finals,
           const int *final, float beam, float *out_score, int *out_length, int *out_arcs, int max_words) {
    cap_history = cap_class = 4096;
    n_history = 0;
    n_class = 1;
    history = malloc(sizeof(History) * cap_history);
    class_parent = malloc(sizeof(int) * cap_class);
    class_value = malloc(sizeof(int) * cap_class);
    class_next = malloc(sizeof(int) * cap_class);
    class_parent[0] = class_value[0] = -1;
    for (int i = 0; i < 1 << 16; i++) bucket[i] = -1;
    Token *now = malloc(sizeof(Token) * nodes * K), *next = malloc(sizeof(Token) * nodes * K);
    Token *state = malloc(sizeof(Token) * states * K), *after = malloc(sizeof(Token) * states * K), end[K];
    clear(now, nodes * K);
    clear(state, states * K);
    clear(end, K);
    state[start * K].score = 0;

    for (int t = 0; t < frames; t++) {
        const float *e = emit + (long)t * width;
        float best = NONE;
        for (int m = 0; m < nodes; m++) if (now[m * K].score > best) best = now[m * K].score;
        for (int n = 0; n < states; n++) if (state[n * K].score > best) best = state[n * K].score;
        float floor = best - beam;

        clear(next, nodes * K);
        for (int m = 0; m < nodes; m++) {
            Token *to = next + m * K, *from = now + m * K;
            for (int k = 0; k < K && from[k].score > floor; k++) add(to, from[k].score, from[k].history);
            if (is_first[m]) continue;
            from = now + (m - 1) * K;
            for (int k = 0; k < K && from[k].score > floor; k++) add(to, from[k].score, from[k].history);
            if (!skip[m]) continue;
            from = now + (m - 2) * K;
            for (int k = 0; k < K && from[k].score > floor; k++) add(to, from[k].score, from[k].history);
        }
        for (int a = 0; a < arcs; a++) {
            Token *from = state + source[a] * K;
            int f = first[a];
            for (int k = 0; k < K && from[k].score > floor; k++) {
                float s = from[k].score + weight[a];
                int h = from[k].history, before = h < 0 ? -1 : label[last[history[h].arc]];
                add(next + f * K, s, h);
                if (before != label[f + 1]) add(next + (f + 1) * K, s, h);
            }
        }
        for (int m = 0; m < nodes; m++)
            for (int k = 0; k < K && next[m * K + k].score > NONE / 2; k++) next[m * K + k].score += e[label[m]];

        if (t > 0)
            for (int i = 0; i < finals; i++)
                for (int k = 0; k < K && state[final[i] * K + k].score > NONE / 2; k++)
                    add(end, state[final[i] * K + k].score, state[final[i] * K + k].history);
        for (int k = 0; k < K; k++) if (end[k].score > NONE / 2) end[k].score += e[0];

        clear(after, states * K);
        for (int a = 0; a < arcs; a++) {
            Token *from = next + last[a] * K, *to = after + target[a] * K;
            for (int k = 0; k < K && from[k].score > floor - 20; k++) {
                if (from[k].score <= to[K - 1].score) continue;
                int c = intern(class_of(from[k].history), word_class[a]), worse = 0;
                for (int i = 0; i < K && to[i].score > NONE / 2; i++)
                    if (class_of(to[i].history) == c && to[i].score >= from[k].score) { worse = 1; break; }
                if (!worse) add(to, from[k].score, new_history(from[k].history, a, c));
            }
        }
        Token *swap = now; now = next; next = swap;
        swap = state; state = after; after = swap;
    }
    for (int i = 0; i < finals; i++)
        for (int k = 0; k < K && state[final[i] * K + k].score > NONE / 2; k++)
            add(end, state[final[i] * K + k].score, state[final[i] * K + k].history);

    int found = 0;
    for (int k = 0; k < K && end[k].score > NONE / 2; k++) {
        int length = 0;
        for (int h = end[k].history; h >= 0; h = history[h].parent) length++;
        if (length > max_words) continue;
        out_score[found] = end[k].score;
        out_length[found] = length;
        int i = length;
        for (int h = end[k].history; h >= 0; h = history[h].parent) out_arcs[found * max_words + --i] = history[h].arc;
        found++;
    }
    free(history); free(class_parent); free(class_value); free(class_next);
    free(now); free(next); free(state); free(after);
    return found;
}
