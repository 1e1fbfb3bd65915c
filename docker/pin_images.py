"""Put digests behind the images that others make: python docker/pin_images.py

It asks docker (buildx) for the digest of each image in docker/.env, where a registry can be reached, and writes it there and
wherever else the image is named: Dockerfile, kubernetes.yaml, kustomization.yaml. Run again it takes up newer images of the
same tags. Nothing is written unless all digests were found.
"""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

DOCKER = Path(__file__).parent
_DIGEST = re.compile(r"sha256:[0-9a-f]{64}")
_LINE = re.compile(r"^(?P<variable>[A-Z_]+)=(?P<image>\S+)$", re.MULTILINE)


def digest_of(image: str) -> str:
    """The digest of an image by its tag. SystemExit where it cannot be looked up."""
    try:
        asked = ["docker", "buildx", "imagetools", "inspect", "--format", "{{.Manifest.Digest}}", image]
        done = subprocess.run(asked, capture_output=True, text=True, check=False, timeout=120)
    except (OSError, subprocess.TimeoutExpired) as error:
        sys.exit(f"docker cannot be asked: {type(error).__name__}. Nothing was written.")
    digest = done.stdout.strip()
    if done.returncode != 0 or not _DIGEST.fullmatch(digest):
        sys.exit(f"docker does not know the digest of {image}: {done.stderr.strip() or digest!r}. Nothing was written.")
    return digest


def pin(folder: Path) -> list[str]:
    """Write the digests into the files of a folder; the images as they are named then."""
    place = folder / ".env"
    named = {line["image"]: line["image"].partition("@")[0] for line in _LINE.finditer(place.read_text("utf-8"))}
    pinned = {old: f"{tagged}@{digest_of(tagged)}" for old, tagged in named.items()}
    for name in (".env", "Dockerfile", "kubernetes.yaml"):
        path = folder / name
        text = path.read_text("utf-8")
        for old, new in pinned.items():
            text = re.sub(rf"(?<=[= ]){re.escape(old)}$", new, text, flags=re.MULTILINE)
        path.write_text(text, "utf-8")
    path = folder / "kustomization.yaml"
    text = path.read_text("utf-8")
    for new in pinned.values():
        name, _, rest = new.partition(":")
        tag, _, digest = rest.partition("@")
        entry = rf"  - name: {re.escape(name)}\n    newTag: {re.escape(tag)}\n(?:    digest: \S+\n)?"
        text = re.sub(entry, f"  - name: {name}\n    newTag: {tag}\n    digest: {digest}\n", text)
    path.write_text(text, "utf-8")
    return list(pinned.values())


if __name__ == "__main__":
    sys.stdout.write("\n".join(pin(DOCKER)) + "\n")
