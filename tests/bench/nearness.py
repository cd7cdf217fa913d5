"""How near two questions of different readers usually are: `python -m tests.bench.nearness`.

It is what `inbox.replies.suggest.NEAR_ENOUGH` was chosen on: an earlier answer is offered only where the
messages are nearer than all but about one in a hundred such pairs of the training messages.
"""

import random

import numpy as np

from inbox.reading.training import seed_messages
from inbox.replies.suggest import COMPARED_CHARACTERS, NEAR_ENOUGH, nearness

COUNT, SEED = 120, 1


def main() -> None:
    """Print the quantiles of the nearness over all pairs of a sample."""
    asked = sorted(message.told.text for message in seed_messages() if "question" in message.kinds)
    sample = random.Random(SEED).sample(asked, COUNT)
    short = [text[:COMPARED_CHARACTERS] for text in sample]
    near = np.concatenate([nearness(text, short[:at] + short[at + 1 :]) for at, text in enumerate(short)])
    for share in (0.5, 0.9, 0.95, 0.99, 0.995):
        print(f"{share:.1%} of the pairs are at most {np.quantile(near, share):.3f} near")
    print(f"above {NEAR_ENOUGH}: {np.mean(near >= NEAR_ENOUGH):.2%} of {len(near):,} pairs")


if __name__ == "__main__":
    main()
