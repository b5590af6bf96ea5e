"""What the peers share: packages of the npm registry, fetched into the build
folder by tests/peers/fetch."""

import os
import subprocess
import sys

HERE = os.path.dirname(os.path.abspath(__file__))


def npm_environment():
    """The environment in which node finds them; None after saying why not."""
    env = dict(os.environ)
    folder = os.path.join(os.environ.get("KW_BUILD", "."), "fetched")
    done = subprocess.run([os.path.join(HERE, "fetch"), folder],
                          capture_output=True, text=True, check=False)
    if done.returncode != 0:
        print("# left out: %s" % (done.stdout + done.stderr).strip())
        sys.stdout.flush()
        return None
    env["NODE_PATH"] = os.path.join(os.path.abspath(folder), "node_modules")
    return env
