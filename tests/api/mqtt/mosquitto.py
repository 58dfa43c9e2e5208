"""A real MQTT 5 broker for tests: Mosquitto, from Debian's packages, and certificates of a CA made for it."""

import os
import socket
import subprocess
import time
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address

import paho.mqtt.client as paho
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from tests.programs import program


class Mosquitto:
    """A broker on a port of its own; nothing outlasts it but its port."""

    def __init__(self, folder, *, tls=None, users=()):
        with socket.create_server(("127.0.0.1", 0)) as listener:
            self.port = listener.getsockname()[1]
        lines = [f"listener {self.port} 127.0.0.1", "persistence false", f"allow_anonymous {str(not users).lower()}"]
        if os.getuid() == 0:
            lines.append("user root")  # the folder is ours alone
        if tls is not None:
            lines += [f"certfile {tls.certificate}", f"keyfile {tls.key}"]
        if users:
            passwords = folder / "passwords"
            passwords.touch(mode=0o600)
            for name, password in users:
                subprocess.run([program("mosquitto_passwd", "mosquitto"), "-b", passwords, name, password], check=True)
            lines.append(f"password_file {passwords}")
        self._configuration = folder / "mosquitto.conf"
        self._configuration.write_text("\n".join(lines) + "\n")
        self._log = folder / "mosquitto.log"
        self._process = None

    def start(self):
        """Start and wait until it listens."""
        with self._log.open("ab") as log:
            self._process = subprocess.Popen([program("mosquitto"), "-c", self._configuration], stdout=log, stderr=log)
        end = time.monotonic() + 30.0
        while time.monotonic() < end:
            try:
                socket.create_connection(("127.0.0.1", self.port), timeout=1.0).close()
            except OSError:
                assert self._process.poll() is None, self._log.read_text()
                time.sleep(0.02)
            else:
                return
        raise AssertionError(self._log.read_text())

    def stop(self):
        """Stop it at once."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._process = None


@contextmanager
def running(folder, **options):
    """Yield a broker that runs while this lasts."""
    broker = Mosquitto(folder, **options)
    broker.start()
    try:
        yield broker
    finally:
        broker.stop()


class Authority:
    """A certification authority, and a certificate of 127.0.0.1 that it signed."""

    def __init__(self, folder):
        folder.mkdir()
        self.ca, self.certificate, self.key = folder / "ca.pem", folder / "broker.pem", folder / "broker.key"
        root = ec.generate_private_key(ec.SECP256R1())
        name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "a test's CA")])
        usage = x509.KeyUsage(
            digital_signature=True, content_commitment=False, key_encipherment=False, data_encipherment=False,
            key_agreement=False, key_cert_sign=True, crl_sign=True, encipher_only=False, decipher_only=False,
        )  # fmt: skip
        identifier = x509.SubjectKeyIdentifier.from_public_key(root.public_key())
        top = _begun(name, name, root).add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        top = top.add_extension(usage, critical=True).add_extension(identifier, critical=False)
        self.ca.write_bytes(top.sign(root, hashes.SHA256()).public_bytes(serialization.Encoding.PEM))
        key = ec.generate_private_key(ec.SECP256R1())
        subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "a test's broker")])
        leaf = _begun(subject, name, key).add_extension(
            x509.BasicConstraints(ca=False, path_length=None), critical=True
        )
        addresses = x509.SubjectAlternativeName([x509.IPAddress(ip_address("127.0.0.1"))])
        key_identifier = x509.AuthorityKeyIdentifier.from_issuer_public_key(root.public_key())
        leaf = leaf.add_extension(addresses, critical=False).add_extension(key_identifier, critical=False)
        self.certificate.write_bytes(leaf.sign(root, hashes.SHA256()).public_bytes(serialization.Encoding.PEM))
        form = serialization.PrivateFormat.PKCS8
        self.key.write_bytes(key.private_bytes(serialization.Encoding.PEM, form, serialization.NoEncryption()))


def _begun(subject, issuer, key):
    now = datetime.now(UTC)
    made = x509.CertificateBuilder().subject_name(subject).issuer_name(issuer).public_key(key.public_key())
    made = made.serial_number(x509.random_serial_number()).not_valid_before(now - timedelta(hours=1))
    return made.not_valid_after(now + timedelta(days=1))


class Listener:
    """A subscriber that keeps what it hears."""

    def __init__(self, broker, *, topic="#", ca=None, user=None):
        self.heard = []
        self._client = paho.Client(paho.CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
        if user is not None:
            self._client.username_pw_set(*user)
        if ca is not None:
            self._client.tls_set(str(ca))
        self._client.on_connect = lambda *_: self._client.subscribe(topic, qos=1)
        self._client.on_message = lambda _client, _data, message: self.heard.append(message)
        self._client.connect("127.0.0.1", broker.port)
        self._client.loop_start()

    def publish(self, topic, payload, **properties):
        """Publish a message with these properties of MQTT 5."""
        made = Properties(PacketTypes.PUBLISH)
        for name, value in properties.items():
            setattr(made, name, value)
        self._client.publish(topic, payload, qos=1, properties=made).wait_for_publish(30.0)

    def last(self, topic):
        """Return the last message of a topic, or None."""
        return next((message for message in reversed(self.heard) if message.topic == topic), None)

    def last_text(self, topic):
        """Return the last text of a topic, or None."""
        message = self.last(topic)
        return None if message is None else message.payload.decode()

    def close(self):
        """Go."""
        self._client.disconnect()
        self._client.loop_stop()
