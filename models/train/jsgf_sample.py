"""Draw sentences from the program's own grammars (../../grammars/*.jsgf), by their weights.

    python jsgf_sample.py COUNT SEED      prints sentences
"""
import glob
import os
import random
import re
import sys

GRAMMARS = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "..", "grammars")
TOKEN = re.compile(r"/[\d.]+/|<[\w.*]+>|[()\[\]|*+]|[\w']+")


class Grammar:
    def __init__(self, folder=GRAMMARS):
        self.rules, self.public = {}, []
        for path in sorted(glob.glob(f"{folder}/*.jsgf")):
            text = re.sub(r"//[^\n]*", "", open(path, encoding="utf-8").read())
            text = re.sub(r"\{[^}]*\}", "", text)
            module = re.search(r"\bgrammar\s+(\w+)\s*;", text).group(1)
            for public, name, body in re.findall(r"(public\s+)?<(\w+)>\s*=([^;]*);", text):
                self.rules[f"{module}.{name}"] = self.alternatives(TOKEN.findall(body), module)
                if public:
                    self.public.append(f"{module}.{name}")
        self.short = {}
        for full in self.rules:
            self.short.setdefault(full.split(".")[1], full)

    def alternatives(self, tokens, module):
        """Parse to [(weight, [item])], an item being a word, ('rule', module, name) or a nested list."""
        out, weight, items = [], 1.0, []
        while tokens:
            t = tokens.pop(0)
            if t == "|":
                out.append((weight, items))
                weight, items = 1.0, []
            elif t[0] == "/":
                weight = float(t.strip("/"))
            elif t in "([":
                inner = self.alternatives(tokens, module)
                items.append(inner if t == "(" else [(1.0, [inner]), (1.0, [])])
            elif t in ")]":
                break
            elif t[0] == "<":
                items.append(("rule", module, t.strip("<>")))
            elif t not in "*+":
                items.append(t)
        out.append((weight, items))
        return out

    def find(self, module, name):
        if name in ("NULL", "VOID"):
            return None
        return self.rules.get(name) or self.rules.get(f"{module}.{name}") or self.rules[self.short[name]]

    def possible(self, items):
        return not any(isinstance(i, tuple) and i[2] == "VOID" or
                       isinstance(i, tuple) and i[2] not in ("NULL",) and self.is_void(i) for i in items)

    def is_void(self, rule):
        body = self.find(rule[1], rule[2])
        return body is not None and all(any(isinstance(i, tuple) and i[2] == "VOID" for i in items) for _, items in body)

    def draw(self, body, rng):
        body = [(w, items) for w, items in body if self.possible(items)]
        items = rng.choices([b[1] for b in body], [b[0] for b in body])[0]
        words = []
        for item in items:
            if isinstance(item, str):
                words.append(item)
            elif isinstance(item, tuple):
                found = self.find(item[1], item[2])
                words += self.draw(found, rng) if found else []
            else:
                words += self.draw(item, rng)
        return words

    def ends(self, body, words, at, depth=0):
        """Positions in `words` where `body`, begun at `at`, may end."""
        if depth > 40:
            return set()
        out = set()
        for _, items in body:
            here = {at}
            for item in items:
                if isinstance(item, str):
                    here = {i + 1 for i in here if i < len(words) and words[i] == item}
                elif isinstance(item, tuple) and item[2] == "VOID":
                    here = set()
                else:
                    inner = self.find(item[1], item[2]) if isinstance(item, tuple) else item
                    here = here if inner is None else set().union(*(self.ends(inner, words, i, depth + 1) for i in here))
                if not here:
                    break
            out |= here
        return out

    def accepts(self, rule, sentence):
        words = sentence.split()
        return len(words) in self.ends(self.rules[rule], words, 0)

    def sentence(self, rng, rules):
        return " ".join(self.draw(self.rules[rng.choice(rules)], rng)).lower()


def sample(count, seed):
    grammar, rng = Grammar(), random.Random(seed)
    # Readings most, then every other public rule in turn.
    rules = ["steps.anything"] * 10 + ["readings.any"] * 6 + ["alterations.alteration"] * 3 + ["commands.command"] * 3
    rules = [r for r in rules if r in grammar.rules] + [r for r in grammar.public if r != "places.named"]
    return [grammar.sentence(rng, rules) for _ in range(count)]


if __name__ == "__main__":
    print("\n".join(sample(int(sys.argv[1]), int(sys.argv[2]))))
