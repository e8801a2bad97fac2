"""The driver's own words in the languages it is shipped in.

The driver translates choices, labels and even one widget's name when the process has a locale, so dumps come in the
language of whoever made them. The words below are those of the 18 message catalogues of libgphoto2 2.5.34 that hold
any of them; a test compares this table with the catalogues of the installed driver.
"""

import re
from enum import StrEnum


class Word(StrEnum):
    """A word of the driver, whatever the language."""

    AUTO = "auto"
    BULB = "bulb"
    TIME = "time"
    COMPOSITE = "composite"
    CARD = "card"
    RAM = "ram"
    NEAR = "near"
    FAR = "far"
    NONE = "none"
    ON = "on"
    OFF = "off"
    MANUAL = "manual"
    BATTERY_LEVEL = "battery level"


_SPELLINGS: dict[Word, str] = {
    Word.AUTO: (
        "auto|automatic|auto iso|implicit auto|automatické|automatisk|automática|automático|automatikoa|automatique|"
        "automatikus|自動|ავტომატური|automată|авто|tự động|自动|automatisch|automatico|automatyczny|автоматично|"
        "automat. nastavení citlivosti (iso)|"
        "automatisk iso|iso auto|automatique iso|自動 iso|ავტომატური iso|auto-iso|automatyczne iso|iso automată|"
        "автоматично визначати iso|tự động iso|自动 iso|automatisch impliziert|autoimplícito|auto implicite|"
        "domyślne auto|auto implicit|implicit automatisk|неявне авто|tự động ngầm định|隐式自动模式"
    ),
    Word.BULB: (
        "bulb|exp. po dobu stisku spouště|po dobu stisku spouště|langzeitbelichtung|bombilla|pose longue|posa bulb|"
        "ნათურა|żarówka|lampă cu bec|långtidsexponering|лампа|bóng đèn dây tóc|bóng đèn sợi đốt|b 门|b 门模式"
    ),
    Word.TIME: "time|tidspunkt|selbstauslöser|hora|temps|დრო|czas|timpul|tid|час|thời gian|时间",
    Word.COMPOSITE: "composite|sammensat|კომპოზიტი|złożona|compozit|komposit|суміщення|实时复合模式",
    Word.CARD: (
        "memory card|card|paměťová karta|hukommelseskort|speicherkarte|tarjeta de memoria|carte mémoire|"
        "scheda di memoria|メモリー カード|geheugenkaart|karta pamięci|card de memorie|minneskort|картка пам'яті|"
        "thẻ nhớ|存储卡"
    ),
    Word.RAM: (
        "internal ram|sdram|interní paměť|intern ram|interner speicher|ram interna|mémoire interne|"
        "内部 ram|interne ram|wewnętrzny ram|memorie ram internă|internt ram|внутрішня пам'ять|ram trên máy"
    ),
    Word.NEAR: "near|bliski|blízko|nært|nah|cercano|proche|vicino|dichtbij|bliska|aproape|nära|близько|gần|近点",
    Word.FAR: "far|daleki|daleko|fjernt|fjern|weit|lejano|loin|lontano|veraf|daleka|departe|fjärran|далеко|xa|远点",
    Word.NONE: (
        "none|žádné|ingen|keine|ninguno|bat ere ez|aucune|nincs|nessuno|なし|არაფერი|geen|brak|niciuna|нет|немає|"
        "không có|无"
    ),
    Word.ON: "on|zapnuto|tændt|an|activar|aktibatuta|activé|be|acceso|ჩართული|aan|włączono|activat|вкл|på|увімк|bật|开",
    Word.OFF: (
        "off|vypnuto|slukket|aus|desactivar|desaktibatuta|désactivé|ki|spento|გამორთ|uit|wyłączono|dezactivat|выкл|av|вимкн|"
        "tắt|关"
    ),
    Word.MANUAL: (
        "manual|ruční|manuel|manuell|eskuzkoa|manuale|取り扱い説明書|ხელით|handmatig|ręczny|ручной|ручний|bằng tay|手动"
    ),
    Word.BATTERY_LEVEL: (
        "battery level|stav nabití akumulátoru|batteriniveau|batterie ladezustand|nivel de batería|bateria maila|"
        "niveau de batterie|livello batteria|バッテリーのレベル|ელემენტის მუხტის დონე|"
        "accuniveau|poziom baterii|nivel baterie|зарядка аккумулятора|batterinivå|рівень заряду батареї|"
        "cấp pin|电池电量"
    ),
}

_WORDS: dict[Word, frozenset[str]] = {word: frozenset(spellings.split("|")) for word, spellings in _SPELLINGS.items()}

_UNKNOWN_VALUE = re.compile(
    r"(?:unknown value|neznámá hodnota|ukendt værdi|unbekannter wert|valor|valeur|valore|不明な値|onbekende waarde|"
    r"nieznana wartość|valoare necunoscută|okänt värde|невідоме значення|giá trị không rõ|未知值)"
    r" ([0-9a-f]{4})(?: (?:desconocido|inconnue|sconosciuto|です))?(?:\s.*)?"
)
"""'Unknown value 0008': the driver has no name for a code and prints it in hexadecimal."""

_SPEEDS = {
    **dict.fromkeys(("fast", "schnell", "szybki", "rapid"), "fast"),
    **dict.fromkeys(("slow", "langsam", "wolny", "lent"), "slow"),
}

NULL_TEXTS = frozenset({"", "(null)", "null"})
"""What the C library prints where the driver has no text."""


def folded(text: str) -> str:
    """Bring a text into the form the tables are in: lower case, every run of blanks (no-break ones too) one blank."""
    return " ".join(text.split()).casefold()


def means(text: str, word: Word) -> bool:
    """True where the whole text is this word, in any of the driver's languages."""
    return folded(text) in _WORDS[word]


def sized_word(text: str, *words: Word) -> tuple[Word, str] | None:
    """Read 'Near 2', 'Weit 3', 'Far slow': one of `words` and a size; None for anything else."""
    head, _, size = folded(text).rpartition(" ")
    size = _SPEEDS.get(size, size)
    if not size.isdecimal() and size not in _SPEEDS.values():
        return None
    return next(((word, size) for word in words if head in _WORDS[word]), None)


def unknown_code(text: str) -> int | None:
    """Code behind 'Unknown value 0008', in any of the driver's languages; None for any other text."""
    match = _UNKNOWN_VALUE.fullmatch(folded(text))
    return int(match[1], 16) if match else None


def is_null(text: str) -> bool:
    """True where the driver had nothing to print."""
    return folded(text) in NULL_TEXTS


def spellings(word: Word) -> frozenset[str]:
    """All spellings of a word, folded."""
    return _WORDS[word]
