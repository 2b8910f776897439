"""A passkey in software: answers as a device does that has asked its holder for finger, face or code.

After W3C Web Authentication Level 2: 5.8.1 (client data), 6.1 (authenticator data), 6.5.4 (attested credential data),
8.7 (attestation of the format none); the key as a COSE map (RFC 9053, 7.1).
"""

import base64
import hashlib
import json
import os
import struct
from typing import Any

import cbor2
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec

PRESENT, VERIFIED, WITH_KEY = 0x01, 0x04, 0x40


def unpadded(data: bytes) -> str:
    return base64.urlsafe_b64encode(data).decode().rstrip("=")


class SoftKey:
    """One credential of one site. ``verifies`` is whether it asks its holder who they are."""

    def __init__(
        self, *, origin: str = "http://testserver", host: str = "testserver", verifies: bool = True
    ) -> None:
        self.key = ec.generate_private_key(ec.SECP256R1())
        self.id = os.urandom(32)
        self.origin, self.host, self.count = origin, host, 0
        self.flags = PRESENT | (VERIFIED if verifies else 0)

    def make(self, options: dict[str, Any]) -> dict[str, Any]:
        """Answer what the site asks when a passkey is made."""
        numbers = self.key.public_key().public_numbers()
        public = cbor2.dumps(
            {1: 2, 3: -7, -1: 1, -2: numbers.x.to_bytes(32, "big"), -3: numbers.y.to_bytes(32, "big")}
        )
        attested = bytes(16) + struct.pack(">H", len(self.id)) + self.id + public
        data = self._data(self.flags | WITH_KEY) + attested
        attestation = cbor2.dumps({"fmt": "none", "attStmt": {}, "authData": data})
        client = self._client("webauthn.create", options)
        return self._answer(clientDataJSON=unpadded(client), attestationObject=unpadded(attestation))

    def sign_in(self, options: dict[str, Any]) -> dict[str, Any]:
        """Answer what the site asks when somebody signs in."""
        self.count += 1
        data, client = self._data(self.flags), self._client("webauthn.get", options)
        signed = self.key.sign(data + hashlib.sha256(client).digest(), ec.ECDSA(hashes.SHA256()))
        return self._answer(
            clientDataJSON=unpadded(client), authenticatorData=unpadded(data), signature=unpadded(signed)
        )

    def _data(self, flags: int) -> bytes:
        return hashlib.sha256(self.host.encode()).digest() + bytes([flags]) + struct.pack(">I", self.count)

    def _client(self, kind: str, options: dict[str, Any]) -> bytes:
        return json.dumps({"type": kind, "challenge": options["challenge"], "origin": self.origin}).encode()

    def _answer(self, **response: str) -> dict[str, Any]:
        number = unpadded(self.id)
        return {"id": number, "rawId": number, "type": "public-key", "response": response}
