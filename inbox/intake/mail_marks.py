"""How mail programs mark what is not new: lines before quotations, dividers, forwards, signatures, disclaimers.

The words are those that programs write in the languages named; common practice, no source.
"""

import re

_SIGNS = {
    "quotation": ("\n>", "\n >", "\n|", "\n  >", "\n   >"),
    "attribution": ("wrote", "writes", "schrieb", "écrit", "escribió", "scritto", "schreef", "escreveu", "skrev", "napsal", "napisał", "geschreven", "написал", "пишет", "viết", " sent:", ">:", ">\n\n>"),
    "divider": (
        "original", "origine", "ursprüngliche", "ursprungligt", "oorspronkelijk", "origineel", "oprindelig", "opprinnelig",
        "oryginaln", "исходное", "reply message", "antwort nachricht",
    ),
    "block": tuple(f"{word}{end}" for word in ("from", "von", "de", "da", "van", "från", "fra", "od", "от") for end in (":", " :")),
    "forward": (
        "forward", "weitergeleitet", "transféré", "réexpédié", "reenviado", "inoltrato", "doorgestuurd", "encaminhada",
        "vidarebefordrat", "videresendt", "przekazana", "пересылаемое",
    ),
    "sent_from": ("sent ", "outlook", "gesendet", "envoyé", "enviado", "inviato", "verzonden", "verstuurd", "skickat", "typed on", "excuse", "virus-free"),
    "notice": (
        "confiden", "privileged", "vertraulich", "riservat", "vertrouwelijk", "intended", "environment", "registered", "subscri",
        "abmelden", "abonn", "darse de baja", "disiscri", "afmelden", "mailing list", "preferences", "browser", "caution",
        "warning", "external", "attention", "this e-mail because", "this email because", "this message because",
    ),
}  # fmt: skip


def signs_in(text: str) -> frozenset[str]:
    """Which marks may be in a text at all; what cannot be there is not looked for line by line."""
    lowered = "\n" + text.lower()
    return frozenset(sign for sign, words in _SIGNS.items() if any(word in lowered for word in words))


QUOTED = re.compile(r"\s{0,3}(?:>|\|(?=\s))")
"""A quoted line."""

ATTRIBUTION_START = re.compile(
    r"\s*(?:[-_]{2,}\s*)?(?:On|Am|Le|El|Il|Op|Em|No dia|Den|På|Dne|W dniu|Dnia|Il giorno|A la\(s\)|Vào)\b"
    r"|\s*(?:\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/.]\d{1,2}[-/.]\d{2,4})\b"
    r"|[^\n]{0,120}(?:\b(?:wrote|writes|schrieb|a écrit|escribió|ha scritto|schreef|escreveu|skrev)\b|\d \w{1,3} [^\n]{2,60}>:)",
    re.IGNORECASE,
)
ATTRIBUTION = re.compile(
    r"\s*(?:"
    r"(?:(?:[-_]{2,}\s*)?On\b.{4,250}?\b(?:wrote|writes))"
    r"|(?:On\b.{0,40}\d.{0,200}?\bsent)"
    r"|(?:Am\b.{4,250}?\bschrieb\b.{0,120}?)"
    r"|(?:Le\b.{4,250}?\ba\s+écrit)"
    r"|(?:(?:El|A la\(s\))\b.{4,250}?\bescribió)"
    r"|(?:Il\b.{4,250}?\bha\s+scritto)"
    r"|(?:Op\b.{4,250}?\b(?:schreef\b.{0,120}?|heeft\b.{2,120}?\bgeschreven))"
    r"|(?:(?:Em|No dia)\b.{4,250}?\bescreveu)"
    r"|(?:(?:Den|På|Dne|W dniu|Dnia)\b.{4,250}?\b(?:skrev|napsal(?:\(a\))?|napisał(?:\(a\)|a)?)\b.{0,120}?)"
    r"|(?:Vào\b.{4,250}?\bđã viết)"
    r"|(?:[^\n]{0,80}<[^<>\s]+@[^<>\s]+>\s*(?:wrote|writes|schrieb|a écrit|escribió|ha scritto|schreef|escreveu)"
    r"\b.{0,60}?)"
    r"|(?:[\w .'-]{2,60}\b(?:wrote|schrieb|schreef|a écrit|escribió|ha scritto|escreveu)\b.{0,60}?\d{1,2}[:.]\d{2}.{0,20}?)"
    r"|(?:\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}\b.{0,120}<\s?[^<>\s]+@[^<>\s]+>(?:\s*(?:написал(?:а|\(а\))?|пишет))?)"
    r"|(?:[^\n]{0,40}\d{4}\b[^\n]{0,30}\d{1,2}:\d{2}[^\n]{0,80}<[^<>\s]+@[^<>\s]+>)"
    r"|(?:-{2,} [^\n]{2,60} wrote(?= -{2,}))"
    r")\s*(?::|-{2,})\s*$",
    re.IGNORECASE | re.DOTALL,
)
"""The line before a quotation, in English, German, French, Spanish, Italian, Dutch, Portuguese and a few more."""

BARE_ATTRIBUTION = re.compile(r"\s*\d{4}[-/.]\d{1,2}[-/.]\d{1,2}\b[^\n]{0,80}<[^<>\s]+@[^<>\s]+>\s*$")
"""The same as some programs write it, without a colon; a quotation has to follow."""

SHARED_LINE = re.compile(
    r"(?P<own>.*\S)\s*?(?:\s|-{2,}\s*)On (?:[A-Z][a-z]{2,8},? )?(?:[A-Z][a-z]{2,8}\.? )?\d[^\n]{4,200}\b(?:wrote|writes):\s*$"
)
"""An attribution behind own words, on their line; a quotation has to follow."""

_ORIGINAL = (
    "(?:Original Message|Original E-?mail|Reply Message|Ursprüngliche Nachricht|Originalnachricht|Antwort Nachricht|"
    "Message d['’]origine|Message original|Mensaje original|Messaggio originale|(?:Oorspronkelijk|Origineel) bericht|"
    "Mensagem original|Ursprungligt meddelande|Oprindelig meddelelse|Opprinnelig melding|Oryginalna wiadomość|"
    "Wiadomość oryginalna|Исходное сообщение)"
)
DIVIDER = re.compile(
    r"\s*(?:[-_=*]{2,}\s*)?"
    rf"{_ORIGINAL}\s*[-_=*]{{2,}}\s*$|\s*[-_=*]{{2,}}\s*{_ORIGINAL}\b.{{0,20}}$",
    re.IGNORECASE,
)
FORWARD = re.compile(
    r"\s*(?:[-_=*]{2,}\s*)?"
    r"(?:(?:Begin )?forwarded message|Weitergeleitete Nachricht|(?:Début du )?message (?:transféré|réexpédié)|"
    r"Mensaje reenviado|(?:Inizio )?messaggio inoltrato|Doorgestuurd bericht|Begin doorgestuurd bericht|"
    r"Mensagem (?:encaminhada|reencaminhada)|Anfang der weitergeleiteten Nachricht|Vidarebefordrat meddelande|"
    r"Videresendt (?:meddelelse|melding)|Przekazana wiadomość|Пересылаемое сообщение)"
    r"(?:\s+from\b.{0,80})?\s*(?:[-_=*]{2,}|:)\s*$",
    re.IGNORECASE,
)
FORWARD_SUBJECT = re.compile(r"\s*(?:fwd?|wg|tr|rv|enc|i|doorst)\s*:", re.IGNORECASE)

BLOCK_FROM = re.compile(r"\s*[*_]{0,2}(?:From|Von|De|Da|Van|Från|Fra|Od|От)\s?:[*_]{0,2}\s*\S", re.IGNORECASE)
BLOCK_FIELD = re.compile(
    r"\s*[*_]{0,2}(?:Sent|Date|To|Cc|Subject|Reply-To|Gesendet|Datum|An|Betreff|Kopie|Envoyé|Date|À|A|Pour|Objet|Sujet"
    r"|Répondre à|Enviado(?: el)?|Fecha|Para|Asunto|Inviato|Data|Oggetto|Verzonden|Aan|Onderwerp|Enviada(?: em)?|Assunto"
    r"|Skickat|Till|Ämne|Sendt|Til|Emne|Wysłano|Do|Temat|Отправлено|Дата|Кому|Тема)\s?:",
    re.IGNORECASE,
)
"""Fields of the block that a mail program puts above the mail it answers."""

SIGNATURE_DASHES = re.compile(r"--\s{0,3}$")
RULE = re.compile(r"\s*[_=*-]{8,}\s*$")
SENT_FROM = re.compile(
    r"\s*[(\[*]?(?:Sent (?:from|via|with|using)\b.{1,60}|Get Outlook for\b.{1,60}|Von meinem .{1,40} gesendet"
    r"|(?:Diese Nachricht wurde )?(?:von|mit) .{1,60} gesendet|Gesendet (?:von|mit|über)\b.{1,60}"
    r"|Envoyé (?:de|depuis|à partir de)\b.{1,60}|Enviado (?:desde|do|de|a partir d[eo])\b.{1,60}"
    r"|Inviato da\b.{1,60}|(?:Verzonden|Verstuurd) (?:vanaf|met|via|vanuit)\b.{1,60}|Skickat från\b.{1,60}"
    r"|Typed on (?:a|my) phone.{0,60}|Please excuse (?:any |the )?(?:typos|brevity).{0,60}"
    r"|Virus-free\. www\..{1,60})[)\]*]?\.?\s*$",
    re.IGNORECASE,
)
GOODBYE = re.compile(
    r"\s*(?:(?:with |very |many |warm(?:est)? |kind(?:est)? |best |all (?:the|my) )?(?:regards|wishes|thanks|best|love)"
    r"|best|cheers|thanks(?: again| so much| a lot| in advance)?|thank you(?: so much| again| in advance)?|thx"
    r"|sincerely(?: yours)?|yours(?: truly| sincerely| faithfully)?|warmly|respectfully|take care|happy baking|x{1,4}|xo(?:xo)*"
    r"|(?:mit )?(?:freundlichen?|besten?|lieben?|vielen?|herzlichen?|schönen?) gr(?:ü|ue)(?:ß|ss)(?:en?)?(?: aus .{2,20})?"
    r"|(?:vielen |herzlichen |lieben )?dank|lg|vg|mfg|cordialement|bien (?:cordialement|à vous)|amicalement|merci(?: beaucoup)?"
    r"|bises|(?:un )?(?:cordial )?saludos?(?: cordiales)?|un abrazo|(?:muchas )?gracias|atentamente|(?:cordiali|distinti|cari)? ?saluti"
    r"|(?:mille )?grazie|un abbraccio|(?:met )?(?:vriendelijke|hartelijke)? ?groet(?:en|jes)?|groetjes|(?:alvast )?bedankt"
    r"|(?:um )?abraços?|obrigad[oa]|(?:com os )?(?:melhores )?cumprimentos|atenciosamente)\s*[,.!–-]*\s*$",
    re.IGNORECASE,
)

BOUNCE_SUBJECT = re.compile(
    r"\s*(?:undeliver(?:ed|able)|delivery (?:status notification|failure|has failed)|returned mail|failure notice|"
    r"mail delivery (?:failed|subsystem|system)|message not delivered|unzustellbar|delivery incomplete|"
    r"mail system error|non remis|no se puede entregar|mancato recapito|niet bezorgd|não entregue)",
    re.IGNORECASE,
)
AUTO_SUBJECT = re.compile(
    r"\s*(?:re:\s*)?(?:automatic reply|auto(?:matic)?[- ]?(?:reply|response|answer)|out of (?:the )?office|"
    r"away from (?:the|my) (?:office|desk)|automatische antwort|abwesenheits|réponse automatique|absence du bureau|respuesta automática|"
    r"fuera de (?:la )?oficina|risposta automatica|fuori sede|automatisch antwoord|afwezigheids|resposta automática|autosvar)",
    re.IGNORECASE,
)

_LEGAL = (
    re.compile(r"confidential|privileged|vertraulich|confidentiel|confidencial|riservat|vertrouwelijk", re.I),
    re.compile(
        r"intended (?:only |solely )?(?:for|recipient)|addressee|named recipient|bestimmt|destinat|bestemd",
        re.I,
    ),
    re.compile(
        r"(?:notify|inform|contact) the sender|delete (?:it|this|the)|received (?:this|it) in error|in error"
        r"|vernichten|löschen|supprimer|par erreur|por error|per errore|ten onrechte|por engano",
        re.I,
    ),
    re.compile(r"(?:copy|copying|disclos|distribut|disseminat|unauthori[sz]ed|prohibited|strictly)", re.I),
    re.compile(r"(?:e-?mail|message|nachricht|mensaje|messaggio|bericht|mensagem)", re.I),
)
_ENVIRONMENT = re.compile(
    r"(?:consider|think of) the environment before printing|registered (?:office|in england)", re.I
)
_NEWSLETTER_FOOT = re.compile(
    r"you(?:'re| are| have)? (?:receiv(?:ed|ing)) this (?:e-?mail|message|newsletter) because|unsubscribe from (?:this list|this group)"
    r"|to unsubscribe|update (?:your )?(?:email )?preferences|view (?:this (?:e-?mail|message) )?in (?:your )?browser"
    r"|mailing list\b.{0,80}(?:http|@)|abmelden|se désabonner|darse de baja|disiscriviti|afmelden",
    re.I | re.S,
)
_BANNER = re.compile(
    r"\s*\[?(?:caution|warning|external|attention)\b.{0,40}\b(?:external|outside|sender|e-?mail)\b", re.I
)


def is_disclaimer(paragraph: str) -> bool:
    """Whether a paragraph is a legal notice that a company's server adds: at least three of its usual turns."""
    return sum(turn.search(paragraph) is not None for turn in _LEGAL) >= 3 or bool(
        _ENVIRONMENT.search(paragraph)
    )


def is_newsletter_foot(paragraph: str) -> bool:
    """Whether a paragraph is the foot of a newsletter or mailing list."""
    return _NEWSLETTER_FOOT.search(paragraph) is not None


def is_banner(paragraph: str) -> bool:
    """Whether a paragraph is a mail server's warning above the text."""
    return len(paragraph) < 400 and _BANNER.match(paragraph) is not None
