//! Which addresses a phone may come from, and come to.

use anyhow::bail;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr};

/// The one name beside addresses, for whoever gives the machine it in his router.
pub const NAME: &str = "bothhands.local";

const fn v4(a: u8, b: u8) -> IpAddr {
    IpAddr::V4(Ipv4Addr::new(a, b, 0, 0))
}

/// Networks that are nobody else's: RFC 1918 (10/8, 172.16/12, 192.168/16), RFC 3927 (169.254/16),
/// RFC 4193 (fc00::/7), and the machine itself (a phone on a cable comes from there).
pub const PRIVATE: [(IpAddr, u8); 7] = [
    (v4(10, 0), 8),
    (v4(172, 16), 12),
    (v4(192, 168), 16),
    (v4(169, 254), 16),
    (IpAddr::V4(Ipv4Addr::new(127, 0, 0, 0)), 8),
    (IpAddr::V6(Ipv6Addr::new(0xfc00, 0, 0, 0, 0, 0, 0, 0)), 7),
    (IpAddr::V6(Ipv6Addr::LOCALHOST), 128),
];

/// Whether an address is of such a network.
pub fn is_private(address: IpAddr) -> bool {
    let address = address.to_canonical();
    PRIVATE.iter().any(|&(network, prefix)| {
        let bits = |address: IpAddr| match address {
            IpAddr::V4(address) => u128::from(u32::from(address)) << 96,
            IpAddr::V6(address) => u128::from(address),
        };
        let mask = u128::MAX << (128 - u32::from(prefix));
        network.is_ipv4() == address.is_ipv4() && bits(network) & mask == bits(address) & mask
    })
}

/// Where this machine can be reached by a phone on its network now; or only `wanted`.
///
/// # Errors
/// When there is no such address: what to do.
pub fn addresses(wanted: Option<IpAddr>) -> anyhow::Result<Vec<IpAddr>> {
    if let Some(wanted) = wanted {
        if !is_private(wanted) {
            bail!(
                "{wanted} is no address of a private network: a phone is served on those only. Leave --phone-at out to use what this machine has"
            );
        }
        return Ok(vec![wanted]);
    }
    let mut found: Vec<IpAddr> = if_addrs::get_if_addrs()?
        .into_iter()
        .map(|interface| interface.ip())
        .filter(|address| is_private(*address) && !address.is_loopback())
        .collect();
    // The short ones first: one of them is read from the terminal.
    found.sort_by_key(|address| (address.is_ipv6(), *address));
    found.dedup();
    if found.is_empty() {
        bail!(
            "this machine is on no private network, so no phone can reach it: join the network of the phone, or switch on the phone's own hot spot and join that; with a cable that leads the phone here, use --phone-at 127.0.0.1"
        );
    }
    Ok(found)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn private_is_what_the_standards_say() {
        let is = |text: &str| is_private(text.parse().unwrap());
        for private in [
            "10.0.0.1",
            "10.255.1.2",
            "172.16.0.1",
            "172.31.255.255",
            "192.168.4.5",
            "169.254.3.4",
            "127.0.0.1",
            "fd12::1",
            "fc00::1",
            "::1",
            "::ffff:192.168.1.1",
        ] {
            assert!(is(private), "{private}");
        }
        for public in [
            "11.0.0.1",
            "172.15.0.1",
            "172.32.0.1",
            "192.169.0.1",
            "192.0.2.2",
            "8.8.8.8",
            "2001:db8::1",
            "fe80::1",
            "::",
            "::2",
            "0.0.0.0",
        ] {
            assert!(!is(public), "{public}");
        }
    }

    #[test]
    fn what_is_no_private_address_is_refused_with_what_to_do() {
        let why = addresses(Some("192.0.2.2".parse().unwrap())).unwrap_err();
        assert!(why.to_string().contains("--phone-at"), "{why}");
    }
}
